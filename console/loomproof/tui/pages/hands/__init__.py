"""The hands page."""
