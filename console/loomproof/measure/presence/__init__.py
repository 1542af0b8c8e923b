"""Which loads are there."""
