"""The wiggle test at will."""
