"""The typed client of one box: `connect(url, auto_call_in=...)` and what the `Box` it returns can do."""

from loomproof.box.box import Box
from loomproof.box.connecting import Found, connect, list_boxes, serial_ports
from loomproof.box.connection import Reconnection
from loomproof.box.errors import ConfigurationMismatch, EventLost, Incompatible, Stopped
from loomproof.box.looking import LookingBox, LookingOnlyError
from loomproof.box.outcome import DriveOutcome, RawTrace
from loomproof.box.watching import WatchRun
from loomproof.link import BoxError, Counters, LinkDown, LinkLost, NoReply, Refused, Unreadable

__all__ = [
    "Box",
    "BoxError",
    "ConfigurationMismatch",
    "Counters",
    "DriveOutcome",
    "EventLost",
    "Found",
    "Incompatible",
    "LinkDown",
    "LinkLost",
    "LookingBox",
    "LookingOnlyError",
    "NoReply",
    "RawTrace",
    "Reconnection",
    "Refused",
    "Stopped",
    "Unreadable",
    "WatchRun",
    "connect",
    "list_boxes",
    "serial_ports",
]
