"""The typed client of one box."""
