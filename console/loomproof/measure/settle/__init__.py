"""Loads that settle: lamps and motors."""
