"""The one way to a pin."""
