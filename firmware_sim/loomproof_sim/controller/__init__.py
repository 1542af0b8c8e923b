"""The simulated box's firmware: the state machine between the wire and the drivers."""
