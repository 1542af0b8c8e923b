"""Conformance of a box: does it keep what docs/protocol.md promises? For any board that speaks the protocol.

`run_suite(line, subjects)` runs the cases of `catalogue.CASES` and returns what each one found.
"""
