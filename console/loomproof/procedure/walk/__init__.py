"""The location walk: which channel answers at which place, found by pulling one connector after another."""
