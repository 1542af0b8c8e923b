"""Trace counts, packed for the store and unpacked from it."""

from __future__ import annotations

import hashlib
import zlib

import numpy as np
from numpy.typing import NDArray

from loomproof.facts.trace_counts import TraceCounts
from loomproof.records.errors import RecordError
from loomproof.records.models import TraceHeader

Counts = NDArray[np.uint16]


def pack(trace: TraceCounts) -> tuple[TraceHeader, bytes]:
    """Return the header of a trace and its counts, compressed.

    Raises:
        RecordError: the four arrays differ in length or hold numbers outside 0 to 65535.
    """
    arrays = [np.asarray(a) for a in (trace.fine, trace.wide, trace.supply, trace.drain)]
    if len({a.shape for a in arrays}) != 1 or arrays[0].ndim != 1:
        raise RecordError(
            f"The arrays of a trace of channel {trace.channel} differ in length.",
            "This is a fault of the program: please report it.",
        )
    table = np.stack(arrays)
    if table.size and (table.min() < 0 or table.max() > 0xFFFF or table.dtype.kind not in "ui"):
        raise RecordError(
            f"A trace of channel {trace.channel} holds numbers that are not counts.",
            "This is a fault of the program: please report it.",
        )
    raw = table.astype("<u2").tobytes()
    header = TraceHeader(
        channel=trace.channel,
        pulse_index=trace.pulse_index,
        sample_period_ns=trace.sample_period_ns,
        on_time_us=trace.on_time_us,
        first_sample_ns=trace.first_sample_ns,
        supply_skew_ns=trace.supply_skew_ns,
        drain_skew_ns=trace.drain_skew_ns,
        truncated=trace.truncated,
        tripped=trace.tripped,
        purpose=trace.purpose,
        samples=table.shape[1],
        counts_sha256=hashlib.sha256(raw).hexdigest(),
    )
    return header, zlib.compress(raw, 6)


def unpack(header: TraceHeader, blob: bytes) -> TraceCounts | None:
    """Return the trace, or None when the counts do not match the digest in the header."""
    try:
        raw = zlib.decompress(blob)
    except zlib.error:
        return None
    if hashlib.sha256(raw).hexdigest() != header.counts_sha256 or len(raw) != 8 * header.samples:
        return None
    table = np.frombuffer(raw, dtype="<u2").astype(np.uint16).reshape(4, header.samples)
    facts = header.model_dump(exclude={"samples", "counts_sha256"})
    return TraceCounts(**facts, fine=table[0], wide=table[1], supply=table[2], drain=table[3])
