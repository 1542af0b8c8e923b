"""The hands at a simulated loom."""
