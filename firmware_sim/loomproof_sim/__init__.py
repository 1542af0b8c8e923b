"""A simulated box with the loom, loads and supply behind it."""
