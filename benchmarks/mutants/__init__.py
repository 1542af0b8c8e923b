"""Mutants: small errors put into the source one at a time, and whether the tests notice."""
