"""The Textual console."""
