"""The run sheet page."""
