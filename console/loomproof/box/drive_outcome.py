"""What comes back from a drive: how it ended, and the raw traces."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loomproof_wire.messages import EndReason, StopReason, TraceReady, Trip

Counts = NDArray[np.uint16]

_COLUMNS = 4
SAMPLE_SET_BYTES = 2 * _COLUMNS


@dataclass(frozen=True, slots=True, eq=False)
class RawTrace:
    """A trace in ADC counts, as the box held it; four arrays of `header.sample_count` values.

    Attributes:
        header: channel, pulse, times and skews.
        fine: 2 A current range.
        wide: 20 A current range.
        supply: supply voltage.
        drain: drain voltage.
    """

    header: TraceReady
    fine: Counts
    wide: Counts
    supply: Counts
    drain: Counts


@dataclass(frozen=True, slots=True)
class DriveOutcome:
    """How a drive ended.

    Attributes:
        pulses: pulses delivered in full.
        reason: why it ended.
        traces: the traces read, in the order of their pulses.
        trip: the over-current report, if the channel tripped.
        stop_reason: why the box stopped, if it did meanwhile.
        traces_lost: traces that newer ones had pushed out before they could be read.
        events_missed: events lost on the way meanwhile; a trace may be missing when this is not 0.
    """

    pulses: int
    reason: EndReason
    traces: tuple[RawTrace, ...] = ()
    trip: Trip | None = None
    stop_reason: StopReason | None = None
    traces_lost: int = 0
    events_missed: int = 0


def trace_from_bytes(header: TraceReady, data: bytes) -> RawTrace:
    """Return the trace in the sample sets of all its chunks.

    Raises:
        ValueError: `data` is not exactly `header.sample_count` sample sets.
    """
    if len(data) != header.sample_count * SAMPLE_SET_BYTES:
        raise ValueError(f"{len(data)} bytes are not {header.sample_count} sample sets")
    sets = np.frombuffer(data, dtype="<u2").reshape(-1, _COLUMNS)
    fine, wide, supply, drain = (np.ascontiguousarray(sets[:, n], dtype=np.uint16) for n in range(_COLUMNS))
    return RawTrace(header, fine, wide, supply, drain)
