"""What kind of address a box is reached by: the one place that looks at an address's scheme."""

from enum import Enum, auto


class AddressKind(Enum):
    """How an address reaches a box."""

    DEVICE = auto()
    """A serial device of this machine (`/dev/ttyUSB0`, `COM3`)."""
    SOCKET = auto()
    """A TCP connection (`socket://host:port`)."""
    SIMULATED = auto()
    """A simulated box in this process (`sim://...`)."""
    OTHER = auto()
    """Another URL of pyserial's, such as `rfc2217://host:port`."""


_BY_SCHEME = {"socket": AddressKind.SOCKET, "sim": AddressKind.SIMULATED}


def kind_of(address: str) -> AddressKind:
    """Return the kind of an address; pyserial does not distinguish upper and lower case in schemes."""
    scheme, separator, _ = address.partition("://")
    return _BY_SCHEME.get(scheme.lower(), AddressKind.OTHER) if separator else AddressKind.DEVICE
