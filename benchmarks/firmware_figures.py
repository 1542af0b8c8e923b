"""Figures of the real firmware in its simulated part, each beside what it must reach, in simulated cycles of 62.5 ns.

    .venv/bin/python -m benchmarks.firmware_figures # or with the others: make benchmarks

Builds the firmware at three line speeds (avr-gcc, libsimavr-dev). Edges are those of the gate pin; heartbeats go on all the
while. An overrun is a byte that the part lost because nobody read it in time; overruns and resets must be none.
"""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np

from loomproof_cosim.elf_box import build_elf_box
from loomproof_sim.scenario import make_scenario
from loomproof_wire import messages
from loomproof_wire.frames import Frame, decode
from testbed.firmware import RELAY, SESSION, US, Console, channel_edges, ready

ROOT = Path(__file__).resolve().parents[1]
PART = "atmega2560"
FAST, STREAM, USUAL = 1_000_000, 500_000, 250_000
TRAINS = (
    (200, 500, 100, 50),
    (200, 500, 200, 50),
    (300, 1_000, 300, 20),
    (100, 4_000, 1_000, 1),
    (20, 20_000, 3_000, 1),
    (3, 200_000, 100_000, 1),
)
"""Count, period, on-time in us, every which pulse is traced; 30 sets each."""
MANY, MOST_IN_TRAIN = 100_000, 2000
PULSE_US, PERIOD_US = 50, 250
BYTE_BITS = 10
CHOPPED_STOP_US = 300
COUNT_A = 0.002
"""One count of the fine range."""


class Figure(NamedTuple):
    """One line of the table."""

    what: str
    measured: str
    must: str
    reached: bool


def elf_at(baud: int) -> Path:
    """Build the firmware for a line speed and return where it is."""
    out = ROOT / "build" / "firmware" / (str(baud) if baud != USUAL else ".")
    elf = (out / f"loomproof-{PART}.elf").resolve()
    make = ["make", "-s", "-C", str(ROOT / "firmware"), f"BAUD={baud}", f"OUT={out.resolve()}"]
    subprocess.run([*make, str(elf)], check=True)
    subprocess.run(["make", "-s", "-C", str(ROOT / "firmware"), "shim"], check=True)
    return elf


def console(baud: int, **limits: int) -> Console:
    """Return a box that has been greeted, with one channel ready."""
    box = build_elf_box(make_scenario({"clock": "virtual"}), elf_at(baud))
    box.run_for(0.02)
    made = Console(box)
    made.greet()
    ready(made, **limits)
    return made


def mishaps(one: Console) -> str:
    counters = one.part.counters
    return f"{counters.rx_overruns} overruns, {counters.resets} resets"


def train(count: int, period_us: int, on_time_us: int, every: int) -> Figure:
    """How far off the edges of a traced train are, at 1 Mbaud."""
    one = console(FAST)
    one.ask(messages.DriveTrain(RELAY, count, period_us, on_time_us, every, 1, 30))
    one.beat(count * period_us / 1e6 + 0.2)
    edges = channel_edges(one.part, RELAY)
    width = np.abs(edges[1::2] - edges[::2] - on_time_us * US) / US
    period = np.abs(np.diff(edges[::2]) - period_us * US) / US
    traces = [trace.sample_count for trace in one.said(messages.TraceReady)]
    whole = sum(sets == 30 for sets in traces)
    counters = one.part.counters
    sound = len(edges) == 2 * count and counters.rx_overruns == counters.resets == 0
    return Figure(
        f"{count} x {on_time_us} us every {period_us} us, each {every}. traced, 1 Mbaud",
        f"width {width.max():.2f}, period {period.max():.2f} us off at most; "
        f"{whole} of {len(traces)} traces whole; {mishaps(one)}",
        "<= 1 us, no overrun",
        bool(sound and width.max() <= 1.0 and period.max() <= 1.0),
    )


def off_delay(act: str, phase: int) -> float:
    """From the last byte that the box heard to the gate's fall, us."""
    one = console(USUAL)
    one.ask(messages.DriveHold(RELAY, 5000, 1, 200))
    one.listen(0.001 + phase * 0.000137)
    one.send(messages.Stop() if act == "stop" else messages.Heartbeat(SESSION))
    one.listen(0.01)
    last = one.part.last_rx_cycle
    one.listen(0.6)
    return float(channel_edges(one.part, RELAY)[1] - last) / US


def stops() -> Iterator[Figure]:
    delays = [off_delay("stop", phase) for phase in range(12)]
    yield Figure(
        "stop frame's last byte to off",
        f"{min(delays):.0f} to {max(delays):.0f} us",
        "< 100 us",
        max(delays) < 100,
    )
    delay_ms = off_delay("heartbeat", 0) / 1000
    yield Figure(
        "last heartbeat's last byte to off", f"{delay_ms:.2f} ms", "400 to 410 ms", 400 <= delay_ms <= 410
    )


def chopped() -> Console:
    """Return a box in the middle of pulses of 90 ms, chopped as fast as the protocol has it, traced."""
    one = console(USUAL)
    chop_us = messages.CEILINGS.min_chop_period_us
    one.ask(messages.DrivePeakHold(RELAY, 50, 100_000, 90_000, 1_000, chop_us, 500, 1, 1, 200))
    return one


def chopping() -> Iterator[Figure]:
    """What chopping leaves of the program's time: how soon a stop acts, and whether telemetry keeps its period."""
    delays = []
    for phase in range(12):
        one = chopped()
        one.listen(0.010 + phase * 0.000037)
        one.send(messages.Stop())
        one.listen(0.2)
        delay = float(channel_edges(one.part, RELAY)[-1] - one.part.last_rx_cycle) / US
        delays.append(max(delay, 0.0))  # below: the chopping had it off already
    yield Figure(
        f"stop frame's last byte to off, chopped each {messages.CEILINGS.min_chop_period_us} us",
        f"{min(delays):.0f} to {max(delays):.0f} us",
        f"< {CHOPPED_STOP_US} us; the 100 us of other drives are not kept",
        max(delays) < CHOPPED_STOP_US,
    )
    one = chopped()
    before = len(one.said(messages.Telemetry))
    one.beat(2.0)
    reported = len(one.said(messages.Telemetry)) - before
    due = 2000 // messages.TIMING.telemetry_period_ms
    yield Figure(
        "telemetry in 2 s of such pulses",
        f"{reported} of {due}; {mishaps(one)}",
        f"{due - 1} at least",
        reported >= due - 1 and one.part.counters.resets == 0,
    )


def over_current() -> Iterator[Figure]:
    """A hold whose current rises through its limit, at several limits."""
    from_sample, from_crossing = [], []
    for limit_ma in range(20, 64, 4):
        one = console(USUAL, max_current_ma=limit_ma)
        one.ask(messages.DriveHold(RELAY, 200, 1, 100))
        one.beat(0.1)
        on, off = channel_edges(one.part, RELAY)
        held = next(edge.held for edge in one.part.edges() if edge.cycle == off)
        times_s = np.arange(on, off, US) / 16e6
        current_a = np.abs(one.box.plant.load_current(RELAY, times_s))
        from_sample.append((off - held) / US)
        over = np.flatnonzero(current_a > limit_ma / 1000 + COUNT_A)
        from_crossing.append((off - on) / US - float(over[0]) if len(over) else 0.0)
    yield Figure(
        "over-current: sample to off",
        f"{min(from_sample):.0f} to {max(from_sample):.0f} us",
        "<= 13 + 20 us",
        max(from_sample) <= 33,
    )
    yield Figure(
        "over-current: current a count over the limit to off",
        f"{min(from_crossing):.0f} to {max(from_crossing):.0f} us",
        "<= 64 + 33 us (a sample each 64 us)",
        max(from_crossing) <= 97,
    )


def read_whole_trace(one: Console) -> tuple[int, float]:
    """Read a trace as fast as request and answer can follow each other; bytes heard, seconds."""
    trace = one.said(messages.TraceReady)[-1]
    began, heard, first = one.part.cycle, 0, 0
    while first < trace.sample_count:
        one.send(messages.ReadTrace(trace.trace_id, first))
        chunks: list[messages.TraceChunk] = []
        while not chunks:
            one.box.run_for(20e-6)
            data = one.box.read(1 << 16, 0)
            heard += len(data)
            said = [decode(frame) for frame in one.reader.feed(data) if isinstance(frame, Frame)]
            chunks = [message for message in said if isinstance(message, messages.TraceChunk)]
        first += len(chunks[0].samples) // 8
    return heard, (one.part.cycle - began) / 16e6


def streaming(baud: int, must: float | None) -> Figure:
    one = console(baud)
    one.ask(messages.DriveTrain(RELAY, 1, 40_000, 20_000, 1, 1, 300))
    one.beat(0.1)
    heard, seconds = read_whole_trace(one)
    share = heard / seconds / (baud / BYTE_BITS)
    return Figure(
        f"trace read at {baud} baud",
        f"{100 * share:.0f} % of the line, {heard / seconds / 1000:.1f} kB/s; {mishaps(one)}",
        "stated only" if must is None else f">= {100 * must:.0f} %",
        must is None or (share >= must and one.part.counters.rx_overruns == 0),
    )


def count() -> Figure:
    """Pulses over many trains, one after another in one session."""
    one = console(USUAL)
    gate_edges = 0
    for _ in range(MANY // MOST_IN_TRAIN):
        before = one.part.edge_count
        one.ask(messages.DriveTrain(RELAY, MOST_IN_TRAIN, PERIOD_US, PULSE_US, 0, 1, 0))
        one.beat(MOST_IN_TRAIN * PERIOD_US / 1e6 + 0.05)
        gate_edges += sum(edge.port == "A" for edge in one.part.edges(before))
    reported = sum(ended.pulses for ended in one.said(messages.DriveEnded))
    return Figure(
        f"pulses of {PULSE_US} us in {MANY // MOST_IN_TRAIN} trains",
        f"{gate_edges // 2} at the pin, {reported} reported; {mishaps(one)}",
        f"{MANY}",
        gate_edges == 2 * MANY and reported == MANY,
    )


def figures() -> Iterator[Figure]:
    """Measure one after another; some minutes."""
    yield from (train(*one) for one in TRAINS)
    yield from stops()
    yield from chopping()
    yield from over_current()
    yield streaming(STREAM, 0.85)
    yield streaming(FAST, None)
    yield count()


def main() -> int:
    """Print every figure; 1 when one is not reached."""
    print("The firmware in its simulated part")
    missed = 0
    for one in figures():
        mark = "  " if one.reached else "NOT REACHED"
        print(f"  {one.what:58s} {one.measured}   (must: {one.must}) {mark}", flush=True)
        missed += not one.reached
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
