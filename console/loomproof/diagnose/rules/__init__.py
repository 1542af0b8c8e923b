"""Verdicts: one rule for each property."""
