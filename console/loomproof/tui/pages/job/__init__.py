"""The job page."""
