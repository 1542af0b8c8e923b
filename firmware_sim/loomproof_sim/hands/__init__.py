"""The hands at a simulated loom: pulling, seating, wiggling, switching."""
