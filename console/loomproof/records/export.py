"""A record as JSON, complete with the raw counts and readable without this program."""

from __future__ import annotations

import json
from typing import Any

from loomproof.records.canonical import jsonable
from loomproof.records.record import Entry, Record, StoredTrace

FORMAT = "loomproof record export 1"


def to_json(record: Record) -> str:
    """Return a record as indented JSON text.

    `entries` holds the facts of each entry under `body` and the text that was hashed under `text`, so that the
    chain can be checked from the export alone. `traces` holds the raw counts.
    """
    document = {
        "format": FORMAT,
        "record_id": record.record_id,
        "simulated": record.simulated,
        "chain": jsonable(record.chain),
        "entries": [_entry(entry) for entry in record.entries],
        "traces": [_trace(trace) for trace in record.traces],
    }
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _entry(entry: Entry) -> dict[str, Any]:
    return {
        "sequence": entry.sequence,
        "kind": entry.kind,
        "at_utc": entry.at.isoformat(timespec="milliseconds"),
        "digest": entry.digest,
        "body": jsonable(entry.body),
        "text": entry.text,
    }


def _trace(trace: StoredTrace) -> dict[str, Any]:
    counts = trace.counts
    names = ("fine", "wide", "supply", "drain")
    return {
        "entry": trace.sequence,
        "number": trace.number,
        "step_id": trace.step_id,
        "attempt": trace.attempt,
        **trace.header.model_dump(),
        "counts": None if counts is None else {name: getattr(counts, name).tolist() for name in names},
    }
