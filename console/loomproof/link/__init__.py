"""Ports, framing, requests and the heartbeat.

One message goes from `Link.request` through `LinkCore.begin` to the port, and its answer from the port
through `LinkCore.receive` back to whoever waits. `ThreadedLink` does that in real time, `PumpedLink` in the
time of a simulated box.
"""
