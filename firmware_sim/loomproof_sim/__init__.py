"""The simulated box, and the loom, loads and supply behind it."""
