"""Widgets drawn from frozen views; none of them knows a session or a box."""
