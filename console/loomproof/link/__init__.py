"""Ports, framing, requests and the heartbeat.

One message goes from `Link.request` through `LinkCore.begin` to the port, and its answer from the port
through `LinkCore.receive` back to whoever waits. `ThreadedLink` does that in real time, `PumpedLink` in the
time of a simulated box.
"""

from loomproof.link.base import Link, LinkDown, Subscriber
from loomproof.link.core import GATE_S, Counters, LinkCore
from loomproof.link.errors import BoxError, LinkLost, NoReply, Refused, Unreadable, message_name
from loomproof.link.ports import open_link
from loomproof.link.pumped import PumpedLink
from loomproof.link.threaded import ThreadedLink

__all__ = [
    "GATE_S",
    "BoxError",
    "Counters",
    "Link",
    "LinkCore",
    "LinkDown",
    "LinkLost",
    "NoReply",
    "PumpedLink",
    "Refused",
    "Subscriber",
    "ThreadedLink",
    "Unreadable",
    "message_name",
    "open_link",
]
