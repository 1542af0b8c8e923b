"""Ports, framing, requests and the heartbeat.

A message goes from `Link.request` through `LinkCore.begin` to the port, and its answer from the port through
`LinkCore.receive` back to the caller. `ThreadedLink` works in real time, `PumpedLink` in the time of a simulated
box.
"""
