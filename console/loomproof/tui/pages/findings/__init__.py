"""The findings page."""
