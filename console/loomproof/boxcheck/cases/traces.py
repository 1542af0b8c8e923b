"""Traces: announced, read in chunks, kept until displaced."""

import math
import struct

from loomproof.boxcheck.case import CaseBook
from loomproof.boxcheck.fixture import Fixture
from loomproof.boxcheck.need import Need
from loomproof.boxcheck.outcome import NotShown
from loomproof_wire.messages import (
    CEILINGS,
    EndReason,
    Hazard,
    ReadTrace,
    Refusal,
    Sense,
    Stop,
    TraceChunk,
    TraceReady,
)

BOOK = CaseBook()
TRIES = 4
TRACES = "Traces"
SET = struct.Struct("<4H")
MOST_HELD = 40


def _capture(fixture: Fixture, samples: int, decimation: int = 1, on_time_us: int = 4000) -> TraceReady:
    samples = fixture.sets(samples)
    fixture.accepted(
        fixture.train(
            on_time_us=on_time_us, trace_every=1, trace_decimation=decimation, trace_samples=samples
        )
    )
    period_ns = 1 if fixture.identity is None else fixture.identity.sample_period_ns
    ready = fixture.event(TraceReady, 100 + samples * decimation * period_ns / 1e6)
    fixture.ended(EndReason.COMPLETE, 100)
    return ready


@BOOK.case(
    "A trace is read in chunks of 25 sample sets, as often as asked, and the chunks fit together.",
    rule=TRACES,
    needs=(Need.CHANNEL,),
    mend="Answer read_trace from the trace memory alone; reading takes nothing away.",
)
def trace_in_chunks(fixture: Fixture) -> None:
    ready = _capture(fixture, 60)
    count = fixture.sets(60)
    fixture.expect(
        ready.sample_count == count, f"{count} sample sets were asked for, {ready.sample_count} announced"
    )
    whole = b""
    for first in range(0, count, CEILINGS.samples_per_chunk):
        chunk = fixture.get(ReadTrace(ready.trace_id, first), TraceChunk)
        fixture.expect(
            (chunk.trace_id, chunk.first_sample) == (ready.trace_id, first), "a chunk names another place"
        )
        want = SET.size * min(CEILINGS.samples_per_chunk, count - first)
        fixture.expect(
            len(chunk.samples) == want, f"the chunk from {first} has {len(chunk.samples)} bytes, not {want}"
        )
        whole += chunk.samples
    again = fixture.get(ReadTrace(ready.trace_id, 7), TraceChunk).samples
    fixture.expect(again == whole[7 * SET.size :][: len(again)], "read again from 7, the samples are others")


@BOOK.case(
    "A first sample past the end is refused with `out_of_range`, a trace that is not held with `no_trace`.",
    rule=TRACES,
    needs=(Need.CHANNEL,),
    mend="Compare with the trace's own sample count.",
    refusals=(Refusal.NO_TRACE, Refusal.OUT_OF_RANGE),
)
def trace_bounds(fixture: Fixture) -> None:
    ready = _capture(fixture, 30)
    fixture.refused(ReadTrace(ready.trace_id, ready.sample_count), Refusal.OUT_OF_RANGE)
    fixture.refused(ReadTrace(ready.trace_id, 65535), Refusal.OUT_OF_RANGE)
    fixture.refused(ReadTrace((ready.trace_id + 1000) & 0xFFFF, 0), Refusal.NO_TRACE)


@BOOK.case(
    "The header of a trace states its timing: sample period after decimation, on-time, truncation.",
    rule=TRACES,
    needs=(Need.CHANNEL,),
    mend="sample_period_ns is that of identity times the decimation; `truncated` says that the pulse "
    "outlasted the trace.",
)
def trace_header(fixture: Fixture) -> None:
    assert fixture.identity is not None
    period_ns = fixture.identity.sample_period_ns
    long = _capture(fixture, samples=40, decimation=3, on_time_us=1000)
    fixture.expect(long.sample_period_ns == 3 * period_ns, f"sample_period_ns is {long.sample_period_ns}")
    fixture.expect(not long.truncated, "a trace longer than its pulse is called truncated")
    short = _capture(fixture, samples=10, on_time_us=4000)
    fixture.expect(short.sample_period_ns == period_ns, f"sample_period_ns is {short.sample_period_ns}")
    fixture.expect(bool(short.truncated), "a trace shorter than its pulse is not called truncated")
    fixture.expect(
        short.channel == fixture.channel and short.pulse_index == 0, "it names another channel or pulse"
    )


@BOOK.case(
    "The trace shows the load's current rise while on and fall after, within the converter's range.",
    rule=TRACES,
    needs=(Need.CHANNEL,),
    mend="Check the order of the four columns (fine, wide, supply, drain), the multiplexer, and that "
    "sampling goes on after switch-off. With an open load there is no current: check the load first.",
)
def trace_shows_current(fixture: Fixture) -> None:
    assert fixture.identity is not None
    count = fixture.sets(300)
    decimation = max(1, math.ceil(6_000_000 / (count * fixture.identity.sample_period_ns)))
    ready = _capture(fixture, samples=count, decimation=decimation, on_time_us=4000)
    data = b"".join(
        fixture.get(ReadTrace(ready.trace_id, first), TraceChunk).samples
        for first in range(0, ready.sample_count, CEILINGS.samples_per_chunk)
    )
    sets = list(SET.iter_unpack(data))
    full = (1 << fixture.identity.adc_bits) - 1
    fixture.expect(all(max(one) <= full for one in sets), f"counts over {full}")
    info = fixture.infos[fixture.channel]

    def current_ma(index: int) -> float:
        return float(sets[index][0] - info.fine_offset_counts_x100 / 100) * info.fine_na_per_count / 1e6

    end = (4_000_000 - ready.first_sample_ns) // ready.sample_period_ns - 1
    peak_ma = max(current_ma(index) for index in range(max(1, end - 3), end))
    fixture.expect(peak_ma > 10, f"only {peak_ma:.1f} mA at the end of a pulse of 4 ms")
    supply_v = sets[end][2] * info.supply_uv_per_count / 1e6
    status_v = fixture.status().supply_mv / 1000
    fixture.between("the supply in the trace", supply_v, 0.9 * status_v, 1.1 * status_v, "V")


@BOOK.case(
    "Only the first pulse and every n-th after it are traced.",
    rule=TRACES,
    needs=(Need.CHANNEL,),
    mend="trace_every 0 means none.",
)
def every_nth_traced(fixture: Fixture) -> None:
    fixture.accepted(fixture.train(count=7, trace_every=3, trace_samples=10))
    fixture.ended(EndReason.COMPLETE, 200, pulses=7)
    found = [h.message.pulse_index for h in fixture.line.events if isinstance(h.message, TraceReady)]
    fixture.expect(found == [0, 3, 6], f"pulses {found} were traced, not 0, 3 and 6")
    fixture.line.clear()
    fixture.accepted(fixture.train(count=2, trace_every=0, trace_samples=10))
    fixture.ended(EndReason.COMPLETE, 100, pulses=2)
    fixture.no_event(TraceReady, 20)


@BOOK.case(
    "New traces displace the oldest, free_traces says how many fit, and the newest is always there.",
    rule=TRACES,
    needs=(Need.CHANNEL,),
    mend="Keep traces in a ring; a trace displaced unread counts in `overruns`.",
    refusals=(Refusal.NO_TRACE,),
)
def traces_pushed_out(fixture: Fixture) -> None:
    first = _capture(fixture, 10)
    captured = 0
    while fixture.status().free_traces and captured < MOST_HELD:
        _capture(fixture, 10)
        captured += 1
    fixture.get(ReadTrace(first.trace_id, 0), TraceChunk)
    for _ in range(MOST_HELD):
        newest = _capture(fixture, 10)
        fixture.get(ReadTrace(newest.trace_id, 0), TraceChunk)
        reply = fixture.ask(ReadTrace(first.trace_id, 0))
        if not isinstance(reply, TraceChunk):
            fixture.must_refuse(reply, "read_trace", ReadTrace.KIND, Refusal.NO_TRACE)
            return
    raise NotShown(f"the box holds more than {MOST_HELD} traces")


@BOOK.case(
    "Held traces can be read while driving and while stopped.",
    rule=TRACES,
    needs=(Need.CHANNEL,),
    mend="Serve read_trace in every state.",
)
def traces_readable_always(fixture: Fixture) -> None:
    ready = _capture(fixture, 30)
    fixture.accepted(fixture.hold(300))
    fixture.get(ReadTrace(ready.trace_id, 0), TraceChunk)
    fixture.accepted(Stop())
    fixture.get(ReadTrace(ready.trace_id, 0), TraceChunk)


@BOOK.case(
    "A sense pulse needs no arming, is as short as asked, and is traced.",
    rule=TRACES,
    needs=(Need.CHANNEL,),
    mend="sense is a train of one pulse under its own, much shorter ceiling.",
)
def sense_pulse(fixture: Fixture) -> None:
    fixture.configure(hazard=Hazard.MOTION)
    count = fixture.sets(20)
    counts: list[int] = []
    while (
        count not in counts and len(counts) < TRIES
    ):  # a box that is busy with the line may end a trace early
        fixture.accepted(Sense(fixture.channel, 60, count))
        ready = fixture.event(TraceReady, 50)
        fixture.between("the sense pulse", ready.on_time_us, 59, 61, "us")
        counts.append(ready.sample_count)
        fixture.ended(EndReason.COMPLETE, 20)
        fixture.idle()
    fixture.expect(count in counts, f"{counts} sample sets in as many tries, never {count}")
