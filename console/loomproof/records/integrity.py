"""The hash chain: each entry's digest covers the entry before it, so that an edit shows.

SHA-256 (FIPS 180-4). No secret is involved: whoever can rewrite the whole store can also compute a new chain.
What pins a record is a copy of its last digest outside the store, as on a signed report.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass

GENESIS = "0" * 64
"""What stands for "the digest before" in a record's first entry."""

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
    """What the chain needs to know of one entry."""

    sequence: int
    kind: str
    at_utc: str
    body: str
    previous_digest: str
    digest: str


@dataclass(frozen=True)
class Chain:
    """Whether the chain holds, and what to tell a person."""

    holds: bool
    text: str
    head_digest: str
    first_bad_sequence: int | None = None


def entry_digest(record_id: str, sequence: int, *, kind: str, at_utc: str, body: str, previous: str) -> str:
    """Return the digest of one entry, as 64 hexadecimal digits. `body` is hashed exactly as stored."""
    text = json.dumps(["loomproof entry 1", record_id, sequence, kind, at_utc, body, previous])
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def check_chain(record_id: str, entries: Iterable[ChainEntry], stored_head: str) -> Chain:
    """Walk the chain from the first entry and compare its end with the head the store kept."""
    previous, expected = GENESIS, 1
    for entry in entries:
        problem = _problem(record_id, entry, expected, previous)
        if problem:
            return Chain(False, f"The chain is broken: {problem}.", previous, entry.sequence)
        previous, expected = entry.digest, expected + 1
    if previous != stored_head:
        text = f"The chain is broken: the store remembers another ending than entry {expected - 1}."
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
