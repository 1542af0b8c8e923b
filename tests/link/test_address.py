"""Each address has one kind, whatever the case of its scheme."""

import pytest

from loomproof.link.address import AddressKind, kind_of


@pytest.mark.parametrize(
    ("address", "kind"),
    [
        ("/dev/ttyUSB0", AddressKind.DEVICE),
        ("COM3", AddressKind.DEVICE),
        ("socket", AddressKind.DEVICE),
        ("socket://127.0.0.1:7600", AddressKind.SOCKET),
        ("SOCKET://127.0.0.1:7600", AddressKind.SOCKET),
        ("sim://", AddressKind.SIMULATED),
        ("sim://job.toml?seed=1", AddressKind.SIMULATED),
        ("rfc2217://host:2217", AddressKind.OTHER),
        ("loop://", AddressKind.OTHER),
    ],
)
def test_the_kind_of_an_address(address: str, kind: AddressKind) -> None:
    assert kind_of(address) is kind
