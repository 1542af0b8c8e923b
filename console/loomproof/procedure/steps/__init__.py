"""One module for each kind of step."""
