"""The electrical world behind the box's pins: pure physics, no wire, no clock of its own."""
