"""Resistance and inductance from a rise of current."""
