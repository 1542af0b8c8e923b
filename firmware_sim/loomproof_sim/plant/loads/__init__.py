"""The loads."""
