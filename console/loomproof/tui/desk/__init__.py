"""What stands between the pages and a session."""
