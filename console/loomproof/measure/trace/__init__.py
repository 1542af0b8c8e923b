"""A trace and its supply."""
