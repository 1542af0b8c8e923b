"""Figures of the real firmware in its simulated part, in simulated cycles of 62.5 ns.

    .venv/bin/python benchmarks/firmware_figures.py

Needs `make firmware`. Edges are those of the gate pin; heartbeats go on all the while. `overruns` are bytes that the
part lost because nobody read them in time.
"""

import sys
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT / "firmware" / "cosim"), str(ROOT / "tests" / "firmware")]

from firmware_tools import RELAY, US, Console, channel_edges, ready  # noqa: E402

from loomproof_cosim.elfbox import build_elf_box  # noqa: E402
from loomproof_sim.scenario import make_scenario  # noqa: E402
from loomproof_wire import messages  # noqa: E402

ELF = ROOT / "build" / "firmware" / "loomproof-atmega2560.elf"
TRAINS = (
    (200, 500, 200, 0),
    (200, 500, 200, 50),
    (100, 1_000, 300, 20),
    (50, 4_000, 1_000, 1),
    (50, 4_000, 1_000, 10),
    (20, 20_000, 3_000, 1),
    (3, 200_000, 100_000, 1),
)


def console() -> Console:
    box = build_elf_box(make_scenario({"clock": "virtual"}), ELF)
    box.run_for(0.02)
    made = Console(box)
    made.greet()
    ready(made)
    return made


def train(count: int, period_us: int, on_time_us: int, every: int) -> str:
    one = console()
    one.ask(messages.DriveTrain(RELAY, count, period_us, on_time_us, every, 1, 30))
    one.beat(count * period_us / 1e6 + 0.2)
    edges = channel_edges(one.part, RELAY)
    width = np.abs(edges[1::2] - edges[::2] - on_time_us * US) / US
    period = np.abs(np.diff(edges[::2]) - period_us * US) / US
    lost = one.part.counters.rx_overruns
    return (
        f"{count:5} x {on_time_us:6} us every {period_us:6} us, traced every {every:2}: pulses {len(edges) // 2}, "
        f"width error max {width.max():.2f} us (95 % {np.percentile(width, 95):.2f}), "
        f"period error max {period.max():.2f} us, overruns {lost}"
    )


def off_delay(act: str) -> float:
    """From the last byte that the box heard to the gate's fall, us."""
    one = console()
    one.ask(messages.DriveHold(RELAY, 5000, 1, 200))
    one.send(messages.Stop() if act == "stop" else messages.Heartbeat(7))
    one.listen(0.01)
    last = one.part.last_rx_cycle
    one.listen(0.6)
    return float(channel_edges(one.part, RELAY)[1] - last) / US


def main() -> None:
    for one in TRAINS:
        print(train(*one))
    print(f"stop frame's last byte to off: {off_delay('stop'):.1f} us")
    print(f"last heartbeat's last byte to off: {off_delay('heartbeat') / 1000:.2f} ms")


if __name__ == "__main__":
    main()
