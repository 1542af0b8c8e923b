"""From a URL to a box, and the list of what is within reach."""

from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

from serial.tools import list_ports

from loomproof.box.client import Box
from loomproof.box.handshake import BOOT_S, greet
from loomproof.box.requests import ask
from loomproof.link.base import Link
from loomproof.link.errors import BoxError, NoReply
from loomproof.link.ports import open_link
from loomproof.link.protocol import GATE_S
from loomproof_wire import messages

HEADLESS_GATE_S = 2.0
"""Without a screen that can freeze, a program may be busy for this long between two calls."""
_LISTING_PATIENCE_S = 2.5
_AT_ONCE = 16


def connect(
    url: str,
    *,
    auto_call_in: bool,
    baud: int = messages.FRAME.default_baud,
    gate_s: float | None = None,
    patience_s: float = BOOT_S,
) -> Box:
    """Open a port, greet the box and read what it is. Nothing is configured, armed or driven.

    Args:
        url: a device or pyserial URL; see `open_link`.
        auto_call_in: True for programs without a screen: waiting in the box counts as being alive. False for
            a screen, which must call `Box.call_in` itself.
        baud: line rate, where there is a line.
        gate_s: seconds without a call after which heartbeats cease; 0.5 for a screen, 2 without one.
        patience_s: how long the box may take to answer.

    Raises:
        LinkLost: the port cannot be opened.
        NoReply: nothing answers.
        Incompatible: the box speaks another major protocol version.
    """
    gate = gate_s if gate_s is not None else HEADLESS_GATE_S if auto_call_in else GATE_S

    def open_again() -> Link:
        return open_link(url, baud, auto_call_in=auto_call_in, gate_s=gate)

    return Box(url, open_again, patience_s)


@dataclass(frozen=True, slots=True)
class Found:
    """What one port answered.

    Attributes:
        url: the port.
        description: what the system says of it, empty for a URL.
        identity: the box that answered, None if none did or it was not asked.
        status: its state.
        problem: why there is no box there, or none to work with; empty if there is one.
    """

    url: str
    description: str = ""
    identity: messages.Identity | None = None
    status: messages.Status | None = None
    problem: str = ""


def serial_ports() -> tuple[tuple[str, str], ...]:
    """Return this machine's serial ports as (device, description), sorted. None is opened."""
    return tuple(
        sorted(
            (port.device, "" if port.description in (None, "n/a") else port.description)
            for port in list_ports.comports()
        )
    )


def list_boxes(
    urls: Iterable[str] = (), *, ports: bool = True, baud: int = messages.FRAME.default_baud
) -> tuple[Found, ...]:
    """Ask every serial port of this machine, and the URLs given, who is there.

    Asking opens the port, greets, and closes it. That ends any session another console has with the box, and
    sends a few bytes to whatever else may be on the port.

    Args:
        urls: further places to ask.
        ports: whether to ask the machine's own serial ports.
        baud: line rate.
    """
    places = list(serial_ports()) if ports else []
    known = {device for device, _ in places}
    places = sorted(places) + [(url, "") for url in dict.fromkeys(urls) if url not in known]
    if not places:
        return ()
    with ThreadPoolExecutor(max_workers=_AT_ONCE) as pool:
        return tuple(pool.map(lambda place: _ask_at(place[0], place[1], baud), places))


def _ask_at(url: str, description: str, baud: int) -> Found:
    try:
        link = open_link(url, baud)
    except BoxError as error:
        return Found(url, description, problem=getattr(error, "cause", str(error)))
    try:
        identity = greet(link, _LISTING_PATIENCE_S)
        status = ask(link, messages.GetStatus(), messages.Status)
    except NoReply:
        return Found(url, description, problem="nothing answers")
    except BoxError as error:
        return Found(url, description, problem=str(error))
    finally:
        link.close()
    return Found(url, description, identity, status)
