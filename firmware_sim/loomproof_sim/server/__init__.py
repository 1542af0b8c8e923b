"""Serves a simulated box to other processes in real time."""
