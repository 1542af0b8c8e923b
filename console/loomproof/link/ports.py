"""Opening a port by its pyserial URL or device name."""

import socket
from typing import cast

import serial

from loomproof.link.address import AddressKind, kind_of
from loomproof.link.base import PORT_ERRORS, WRITE_TIMEOUT_S, Link, Port, describe
from loomproof.link.errors import LinkLost
from loomproof.link.protocol import GATE_S
from loomproof.link.pumped import PumpedLink, VirtualPort
from loomproof.link.threaded import READ_TIMEOUT_S, ThreadedLink
from loomproof_wire.messages import FRAME

SIMULATOR_URLS = "loomproof_sim.urls"
"""Package whose `protocol_sim` opens `sim://`; this room names it and never imports it."""


def open_link(
    url: str, baud: int = FRAME.default_baud, *, auto_call_in: bool = False, gate_s: float = GATE_S
) -> Link:
    """Open a port and return the link over it; nothing is sent to the box yet.

    Args:
        url: a device (`/dev/ttyUSB0`, `COM3`) or pyserial URL (`socket://host:port`, `rfc2217://...`, `sim://...`).
        baud: rate of a serial line.
        auto_call_in: see `Link`.
        gate_s: see `Link`.

    Raises:
        LinkLost: the port cannot be opened.
    """
    port = open_port(url, baud)
    if getattr(port, "virtual_clock", False):
        return PumpedLink(cast(VirtualPort, port), url, auto_call_in=auto_call_in, gate_s=gate_s)
    return ThreadedLink(cast(Port, port), url, auto_call_in=auto_call_in, gate_s=gate_s)


def open_port(url: str, baud: int) -> serial.SerialBase:
    """Open the port of an address; see `open_link`."""
    if SIMULATOR_URLS not in serial.protocol_handler_packages:
        serial.protocol_handler_packages.append(SIMULATOR_URLS)
    try:
        port = serial.serial_for_url(
            url, do_not_open=True, baudrate=baud, timeout=READ_TIMEOUT_S, write_timeout=WRITE_TIMEOUT_S
        )
        kind = kind_of(url)
        if kind is AddressKind.DEVICE:
            port.exclusive = True
        port.open()
        if kind is AddressKind.SOCKET:
            _send_at_once(port)
    except PORT_ERRORS as error:
        raise LinkLost(
            url, describe(error), "check this address and the cable, then connect again"
        ) from error
    return port


def _send_at_once(port: serial.SerialBase) -> None:
    """Send frames at once: the system would hold one back until the one before is acknowledged, a stop for 40 ms.

    That is Nagle's algorithm (RFC 896) against a delayed acknowledgement (RFC 1122, 4.2.3.2). pyserial's
    rfc2217 ports do this by themselves.
    """
    with socket.fromfd(port.fileno(), socket.AF_INET, socket.SOCK_STREAM) as same:
        same.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
