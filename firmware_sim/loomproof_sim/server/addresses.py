"""Addresses where a simulated box may listen: this machine's own, unless others are allowed expressly."""

import ipaddress
import socket
from dataclasses import dataclass


class ServeError(Exception):
    """The box cannot be served; the message says why and what to do."""


@dataclass(frozen=True)
class Address:
    """Host and port to listen on; port 0 = any free one."""

    host: str
    port: int


def parse_address(text: str, *, anywhere: bool) -> Address:
    """Return the address HOST:PORT; unless `anywhere`, it must be this machine's own.

    Raises:
        ServeError: the text is no address, or one that other machines can reach.
    """
    host, colon, port = text.rpartition(":")
    host = host.strip("[]")
    if not colon or not host or not (port.isascii() and port.isdigit()) or int(port) > 65_535:
        raise ServeError(f"{text!r} is not an address to listen on; write HOST:PORT, such as 127.0.0.1:7600")
    if not anywhere and not _is_loopback(host):
        raise ServeError(
            f"{host} can be reached from other machines, and anyone who reaches it drives this box; "
            "listen on 127.0.0.1, or give --listen-anywhere"
        )
    return Address(host, int(port))


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def listen(address: Address) -> socket.socket:
    """Return a listening socket that does not block.

    Raises:
        ServeError: the address cannot be bound.
    """
    family = socket.AF_INET6 if ":" in address.host else socket.AF_INET
    server = socket.socket(family, socket.SOCK_STREAM)
    server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        server.bind((address.host, address.port))
        server.listen(4)
    except OSError as error:
        server.close()
        raise ServeError(f"cannot listen on {address.host}:{address.port}: {error.strerror}") from error
    server.setblocking(False)
    return server
