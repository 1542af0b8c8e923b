"""Conformance of a box to docs/protocol.md, for any board that speaks the protocol.

`run.run_suite(fixture)` runs the cases of `catalogue.CASES` and returns the result of each.
"""
