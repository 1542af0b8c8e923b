"""The loom page."""
