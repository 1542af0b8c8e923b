"""Terminal drivers: the stop key, the browser."""
