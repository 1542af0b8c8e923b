"""What each fault makes of a loom."""
