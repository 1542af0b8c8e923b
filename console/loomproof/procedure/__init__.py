"""The run sheet and how it is worked through; time, box and operator are handed in."""
