"""False alarms over simulated hours, and time or length to be found, of the two streaming detectors.

    python -m benchmarks.detectors [--hours 4] [--first 9000]

Counts come from the simulator's own read-back of the reference board (rounding, noise, offsets of each channel); on the
supply lies ripple of 300 Hz with its first overtone and a slow sag. `must` is what is required of it.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter
from scipy.stats import binomtest, poisson

from loomproof.facts.dropout import Watched
from loomproof.facts.presence import ScanReading
from loomproof.measure.dropouts.detector import DropoutDetector
from loomproof.measure.presence.detector import PresenceDesign, PresenceDetector
from loomproof.procedure.conversion import calibration_of
from loomproof_sim.controller.info import channel_info
from loomproof_sim.controller.watch import DropoutFinder
from loomproof_sim.profiles import REFERENCE
from loomproof_sim.readback import DRAIN, FINE, SUPPLY, Counts, Readback
from loomproof_wire.messages import ChannelKind

Floats = NDArray[np.float64]

SUPPLY_V, SOURCE_OHM, ARC_V = 13.5, 0.05, 20.0
RIPPLES_V = (0.0, 0.3, 1.0)
SCAN_S = 0.023
"""A scan with 16 sense pulses, a millisecond apart, and its frames at 250000 baud (5 ms); at rest only, 7 ms."""
HELD = {  # resting current in A, time constant in s
    "injector 14 ohm": (0.955, 1.0e-3),
    "relay 90 ohm": (0.149, 2.8e-3),
    "valve 7.4 ohm": (1.79, 2.7e-3),
}


def supply(times: Floats, ripple_v: float) -> Floats:
    """Supply with ripple, its overtone and a sag of 0.4 V over minutes."""
    w = 2 * math.pi * 300.0
    fast = np.sin(w * times) + 0.3 * np.sin(2 * w * times + 1.0)
    return np.asarray(SUPPLY_V + ripple_v * fast + 0.2 * np.sin(2 * math.pi * times / 300.0))


def scaled(counts: Counts, column: int, per_count: float) -> Floats:
    """A column of sample sets without offset, in its unit."""
    return np.asarray(counts[:, column] * per_count, dtype=np.float64)


def rate_limit(count: int, of: float) -> str:
    """Events per unit with the upper end of their 95 % interval (Poisson)."""
    upper = poisson.isf(0.025, count) if count == 0 else poisson.ppf(0.975, count)
    top = 3.689 if count == 0 else float(upper)  # exact upper end for none: -ln 0.025
    return f"{count} in {of:g} ({count / of:.3g}, at most {top / of:.2g})"


# pulled connectors ------------------------------------------------------------------------------------------------


class Loom:
    """Sixteen channels: eleven pins at the supply, two at ground, three seen by their sense current alone."""

    SENSED = (14, 15, 16)
    CURRENTS = (0.058, 0.020, 0.0095)  # A at the end of the sense pulse: injector, small injector, relay

    def __init__(self, seed: int, ripple_v: float) -> None:
        self.readback = Readback(REFERENCE, seed)
        self.ripple_v = ripple_v
        self.scales = {
            c: calibration_of(
                channel_info(c, ChannelKind.LOW_SIDE, REFERENCE, self.readback), REFERENCE.adc_bits
            )
            for c in range(1, 17)
        }

    def scans(
        self, times: Floats, gone_s: dict[int, float]
    ) -> Iterator[tuple[float, float, dict[int, ScanReading]]]:
        """Scans at those times; a channel in `gone_s` has no load from its time on."""
        bias = REFERENCE.bias_v
        readings: dict[int, tuple[Floats, Floats | None, float]] = {}
        for channel in range(1, 17):
            at = times + channel * SCAN_S / 17.0
            volts = supply(at, self.ripple_v)
            away = at >= gone_s.get(channel, math.inf)
            held = 0.02 if channel in {12, 13} else bias if channel in self.SENSED else volts
            pin = np.where(away, bias, held)
            amps = np.zeros_like(at)
            if channel in self.SENSED:
                warm = 1.0 + 0.05 * np.sin(2 * math.pi * at / 900.0)  # temperature
                amps = self.CURRENTS[channel - 14] * volts / SUPPLY_V * warm * ~away
            counts = self.readback.counts(channel, amps, volts, pin)
            scales = self.scales[channel]
            fine = np.asarray(counts[:, FINE], dtype=np.float64)
            seen = (fine - scales.fine_offset_counts) * scales.fine_a_per_count
            readings[channel] = (
                scaled(counts, DRAIN, scales.drain_v_per_count),
                seen if channel in self.SENSED else None,
                scales.sample_u_counts,
            )
            last = scaled(counts, SUPPLY, scales.supply_v_per_count)
        for k, now in enumerate(times):
            yield (
                float(now) + SCAN_S,
                float(last[k]),
                {
                    c: ScanReading(
                        float(v[k]),
                        bias,
                        u * self.scales[c].drain_v_per_count,
                        None if a is None else float(a[k]),
                        u * self.scales[c].fine_a_per_count,
                    )
                    for c, (v, a, u) in readings.items()
                },
            )


def untouched(hours: float, hz: float, first: int) -> None:
    for number, ripple_v in enumerate(RIPPLES_V):
        lost = 0
        for part in range(math.ceil(hours)):
            loom = Loom(first + 100 * number + part, ripple_v)
            detector = PresenceDetector(PresenceDesign(scan_hz=hz))
            times = np.arange(int(3600 * hz)) / hz
            for now, volts, readings in loom.scans(times, {}):
                lost += sum(len(change.lost) for change in detector.feed(now, volts, readings))
            assert not detector.blind
        print(
            f"{hz:g} scans/s | {ripple_v:g} | {rate_limit(lost, math.ceil(hours))} | 1 per hour (1 per day)",
            flush=True,
        )


def pulled(count: int, hz: float, first: int, ripple_v: float = 0.3) -> None:
    for again in (False, True):
        took: dict[bool, list[float]] = {False: [], True: []}
        for k in range(count):
            rng = np.random.default_rng((first, k))
            channel = 1 + k % 16
            gone = 1.0 + float(rng.uniform(0, 1.0 / hz))
            loom = Loom(first + k, ripple_v)
            detector = PresenceDetector(PresenceDesign(scan_hz=hz))
            now, reported = 0.0, math.inf
            while now < 4.0 and math.isinf(reported):
                ((end, volts, readings),) = loom.scans(np.array([now]), {channel: gone})
                if any(channel in change.lost for change in detector.feed(end, volts, readings)):
                    reported = end
                at_once = again and not detector.learning and not detector.settled
                now = end if at_once else (math.floor(now * hz + 1e-6) + 1) / hz
            took[channel in Loom.SENSED].append(reported - gone)
        for sensed, name in ((False, "pin"), (True, "sense current")):
            ms = 1e3 * np.array(took[sensed])
            how = "again at once" if again else "evenly"
            print(
                f"{hz:g} scans/s | {how} | {name} | {ms.size} | {np.median(ms):.0f} | "
                f"{np.quantile(ms, 0.99):.0f} | {100 * np.mean(ms <= 200):.1f} % | {100 * np.mean(ms <= 100):.1f} %",
                flush=True,
            )


# breaks -----------------------------------------------------------------------------------------------------------


def held(
    times: Floats, amps: float, tau_s: float, ripple_v: float, breaks: list[tuple[float, float]]
) -> tuple[Floats, Floats]:
    """Current of a held winding and its supply; in a break an arc of `ARC_V` drives the current down."""
    step = float(times[1] - times[0])
    a = math.exp(-step / tau_s)
    share = -math.expm1(-step / tau_s) * tau_s / step
    volts = supply(times, ripple_v)
    b = np.array([1 - share, share - a])
    lagging, _ = lfilter(b, np.array([1.0, -a]), volts, zi=np.array([(1 - b[0]) * volts[0]]))
    current = amps / SUPPLY_V * lagging
    for begin, length in breaks:
        near = slice(*np.searchsorted(times, (begin, begin + length + 12 * tau_s)).tolist())
        since = times[near] - begin
        fall = amps * ARC_V / SUPPLY_V * -np.expm1(-np.minimum(since, length) / tau_s)
        fall = np.minimum(fall, amps) * np.exp(-np.maximum(since - length, 0.0) / tau_s)
        current[near] = np.maximum(current[near] - fall, 0.0)
    return current, volts - SOURCE_OHM * current


def seen(readback: Readback, amps: Floats, volts: Floats, pins: Floats) -> tuple[Floats, Floats, Floats]:
    """Current, supply and pin as the box's counts say."""
    counts = readback.counts(1, amps, volts, pins)
    return (
        readback.current_a(1, counts),
        scaled(counts, SUPPLY, readback.supply_uv_per_count * 1e-6),
        scaled(counts, DRAIN, readback.drain_uv_per_count * 1e-6),
    )


def box_finder(values: Floats, volts: Floats, hz: float, depth: float) -> list[tuple[int, int, float]]:
    """The simulated box's own dropouts on the same samples: value over supply against one level."""
    finder = DropoutFinder(depth)
    ratio = values / np.maximum(volts, 1.0)
    settle = int(0.1 * hz)
    finder.learn(ratio[:settle])
    finder.settle()
    return finder.feed((np.arange(settle, values.size) / hz * 1e9).astype(np.int64), ratio[settle:])


def sound(hours: float, hz: float, first: int) -> None:
    def portion(readback: Readback, name: str, times: Floats, ripple_v: float) -> tuple[Floats, Floats]:
        if name == "pin":
            volts = supply(times, ripple_v)
            _, v, pin = seen(readback, np.zeros_like(times), volts, volts)
            return np.abs(pin - REFERENCE.bias_v), v
        amps, volts = held(times, *HELD[name], ripple_v, [])
        i, v, _ = seen(readback, amps, volts, np.zeros_like(times))
        return i, v

    for number, name in enumerate((*HELD, "pin")):
        for ripple_v in RIPPLES_V:
            ours = boxs = 0
            unseen = 0.0
            watched = Watched.PIN if name == "pin" else Watched.CURRENT
            minutes = math.ceil(6 * hours)
            for part in range(minutes):
                readback = Readback(REFERENCE, first + 1000 * number + part)
                values, volts = portion(readback, name, np.arange(int(600 * hz)) / hz, ripple_v)
                detector = DropoutDetector(hz, watched)
                ours += len(detector.feed(values, volts)) + len(detector.close())
                unseen += detector.unseen_s
                boxs += len(box_finder(values, volts, hz, 0.02))
            print(
                f"{name} | {ripple_v:g} | {rate_limit(ours, minutes)} | {100 * detector.least_depth:.2f} | "
                f"{unseen / minutes:.3f} | {rate_limit(boxs, minutes)}",
                flush=True,
            )


def broken(count: int, hz: float, first: int) -> None:
    for number, (name, (amps, tau_s)) in enumerate(HELD.items()):
        for ripple_v in (0.0, 0.3):
            for length_s in (10e-6, 30e-6, 50e-6, 100e-6, 200e-6):
                rng = np.random.default_rng((first, number, int(length_s * 1e6)))
                begins = 2.0 + 0.2 * np.arange(count) + rng.uniform(0, 0.01, count)
                times = np.arange(int((2.2 + 0.2 * count) * hz)) / hz
                current, volts = held(times, amps, tau_s, ripple_v, [(float(b), length_s) for b in begins])
                i, v, _ = seen(Readback(REFERENCE, first + number), current, volts, np.zeros_like(times))
                detector = DropoutDetector(hz)
                at = np.array([d.start_s for d in detector.feed(i, v) + detector.close()])
                found = sum(bool(np.any(np.abs(at - b) < 0.005)) for b in begins)
                ends = binomtest(found, count).proportion_ci(method="wilson")
                box = [start / 1e9 for start, _, _ in box_finder(i, v, hz, 0.2)]
                box_found = sum(any(abs(b - at) < 0.005 for at in box) for b in begins)
                print(
                    f"{name} | {ripple_v:g} | {length_s * 1e6:g} | {100 * found / count:.1f} % "
                    f"({100 * ends.low:.1f} to {100 * ends.high:.1f}) | {100 * box_found / count:.1f} %",
                    flush=True,
                )


def at_both_rates(table: Callable[[float], None]) -> None:
    for scans_hz in (10.0, 20.0):
        table(scans_hz)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument(
        "--hours", type=float, default=4.0, help="of an untouched loom and of each sound load"
    )
    parser.add_argument("--pulls", type=int, default=640)
    parser.add_argument("--breaks", type=int, default=300)
    parser.add_argument("--first", type=int, default=9000, help="first seed")
    given = parser.parse_args()
    hz = 1e9 / (REFERENCE.sample_period_ns * round(1e9 / REFERENCE.sample_period_ns / 10_000))
    tables: list[tuple[str, Callable[[], None]]] = [
        (
            "Losses reported on an untouched loom, 16 channels\nscan rate | ripple V | reported per hour | must (stretch)",
            lambda: at_both_rates(lambda rate: untouched(given.hours, rate, given.first)),
        ),
        (
            "A pulled connector, to the end of the scan that reports it\n"
            "scan rate | when in doubt | by | pulls | median ms | 99 % ms | within 200 ms (must 99 %) | within 100 ms",
            lambda: at_both_rates(lambda rate: pulled(given.pulls, rate, given.first)),
        ),
        (
            f"Breaks reported on a sound load, {hz:.0f} samples a second, per 10 minutes (must 1)\n"
            "load | ripple V | reported | least single-sample depth % | s unseen per 10 min | one level of 2 %, as the box",
            lambda: sound(given.hours, hz, given.first),
        ),
        (
            f"Full breaks of a held load found, {hz:.0f} samples a second (must: 100 us)\n"
            "load | ripple V | break us | found | one fixed level of 20 %, as the box",
            lambda: broken(given.breaks, hz, given.first),
        ),
    ]
    for title, table in tables:
        print(f"\n{title}")
        table()


if __name__ == "__main__":
    main()
