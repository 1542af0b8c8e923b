"""Ports, framing, request and response, heartbeat, reconnect."""
