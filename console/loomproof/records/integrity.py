"""The hash chain: each entry's digest covers the entry before it, so that an edit shows.

The digest is SHA-256 (FIPS 180-4). It involves no secret: a person who can rewrite the whole store can also
compute a new chain. A copy of the last digest outside the store, as on a signed report, pins a record.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass

GENESIS = "0" * 64
"""The previous digest of a record's first entry."""

PROVES = (
    "A chain that holds shows that no entry or trace was changed, removed from the middle, added in between "
    "or put in another order since the digest was computed."
)
DOES_NOT_PROVE = (
    "It does not prove who wrote the record, that the clock was right, or that what was typed in is true. It "
    "is made without a secret: a person who rewrites every entry, or cuts entries off the end and mends the "
    "rest, can make a chain that holds. Only a digest kept elsewhere, such as on a signed print of the "
    "report, shows that: compare it with the digest of the record today."
)


@dataclass(frozen=True)
class ChainEntry:
    """The fields of an entry that the chain covers."""

    sequence: int
    kind: str
    at_utc: str
    body: str
    previous_digest: str
    digest: str


@dataclass(frozen=True)
class Chain:
    """Whether the chain holds, and a sentence that says so."""

    holds: bool
    text: str
    head_digest: str
    first_bad_sequence: int | None = None


def entry_digest(record_id: str, sequence: int, *, kind: str, at_utc: str, body: str, previous: str) -> str:
    """Return the digest of one entry as 64 hexadecimal digits.

    Args:
        record_id: id of the record.
        sequence: number of the entry.
        kind: kind of the entry.
        at_utc: time of the entry as stored.
        body: JSON text of the entry, exactly as stored.
        previous: digest of the entry before.
    """
    text = json.dumps(["loomproof entry 1", record_id, sequence, kind, at_utc, body, previous])
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def check_chain(record_id: str, entries: Iterable[ChainEntry], stored_head: str) -> Chain:
    """Check the chain from the first entry on, and compare its end with the head that the store keeps."""
    previous, expected = GENESIS, 1
    for entry in entries:
        problem = _problem(record_id, entry, expected, previous)
        if problem:
            return Chain(False, f"The chain is broken: {problem}.", previous, entry.sequence)
        previous, expected = entry.digest, expected + 1
    if previous != stored_head:
        text = f"The chain is broken: the store's last digest is not that of entry {expected - 1}."
        return Chain(False, text, previous, expected)
    return Chain(True, f"The chain of {expected - 1} entries holds.", previous)


def _problem(record_id: str, entry: ChainEntry, expected: int, previous: str) -> str:
    if entry.sequence != expected:
        return f"entry {expected} is missing (found entry {entry.sequence} in its place)"
    if entry.previous_digest != previous:
        return f"entry {entry.sequence} does not follow the entry before it"
    digest = entry_digest(
        record_id, entry.sequence, kind=entry.kind, at_utc=entry.at_utc, body=entry.body, previous=previous
    )
    if digest != entry.digest:
        return f"entry {entry.sequence} ({entry.kind}) was changed after it was written"
    return ""
