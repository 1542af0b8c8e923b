"""Driving one channel outside the run sheet."""
