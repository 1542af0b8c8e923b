"""The address of a simulated box, completed by what a command knows: the job, and whatever the query leaves open."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from urllib.parse import parse_qsl, quote, urlencode, urlsplit

from loomproof.link.address import AddressKind, kind_of


def is_simulated(address: str) -> bool:
    """Return whether an address leads to a simulated box."""
    return kind_of(address) is AddressKind.SIMULATED


def query_of(address: str) -> dict[str, str]:
    """Return what the query of an address says, by key."""
    return dict(parse_qsl(urlsplit(address).query, keep_blank_values=True))


def completed(address: str, job: Path, defaults: Mapping[str, str]) -> str:
    """Return the address of a simulated box with everything that it leaves open.

    Args:
        address: as it was typed.
        job: its loom, if the address names none.
        defaults: for the query; a key that is there already stays as it is.
    """
    parts = urlsplit(address)
    query = parse_qsl(parts.query, keep_blank_values=True)
    named = {key for key, _ in query}
    query += [(key, value) for key, value in defaults.items() if key not in named]
    path = (parts.netloc + parts.path) or quote(str(job))
    return f"sim://{path}?{urlencode(query, safe=':/.')}"
