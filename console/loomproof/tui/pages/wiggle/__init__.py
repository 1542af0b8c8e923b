"""The wiggle page."""
