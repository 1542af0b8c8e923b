"""The newest traces of each channel: how they are drawn over one another, and what cursors read from them."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable

from loomproof.facts.estimate import Estimate
from loomproof.facts.trace import Trace
from loomproof.job.load_traits import LOGIC_KINDS
from loomproof.job.model import Job
from loomproof.measure.trace.between import Between, between
from loomproof.measure.trace.expected import expected_current
from loomproof.procedure.events import DriveStarted, TraceTaken
from loomproof.tui.views.trace import Curve, ReadingView, TraceBand, TraceView

MOST_KEPT = 6
"""Drives whose newest trace is kept for each channel."""
NOW, BEFORE, ALIKE = 0, 1, 2
TRIP_SHOWN_S, TRIP_SHARE = 1e-3, 4.0
"""A tripped pulse is drawn this long at least, or so many times its own length."""


class Traces:
    """Keeps the newest trace of each of the last drives, by channel."""

    def __init__(self, job: Job) -> None:
        self._job = job
        self._kept: dict[int, deque[TraceTaken]] = {}
        self._begun: set[int] = set()

    def take(self, event: object) -> TraceView | None:
        """Take in an event; a view when it brought a trace. Of one drive only the newest trace is kept."""
        if isinstance(event, DriveStarted):
            self._begun.add(event.channel)
        if not isinstance(event, TraceTaken):
            return None
        channel = event.trace.channel
        kept = self._kept.setdefault(channel, deque(maxlen=MOST_KEPT))
        if kept and channel not in self._begun:
            kept.pop()
        self._begun.discard(channel)
        kept.append(event)
        return self.view(channel)

    def view(self, channel: int, *, earlier: int = 1, sisters: int = 1) -> TraceView:
        """Return a channel's newest trace over the expected band.

        Args:
            channel: the channel.
            earlier: how many earlier drives of it are overlaid.
            sisters: how many channels with the same load are overlaid.
        """
        kept = self._kept.get(channel)
        if not kept:
            return TraceView(channel=channel)
        newest = kept[-1].trace
        # A trip is over within a sample or two: drawn over the whole pulse that was meant, it could not be seen.
        until = max(TRIP_SHOWN_S, TRIP_SHARE * newest.on_time_s) if newest.tripped else math.inf
        peak = f"{float(newest.current_a.max()):.3g} A"
        curves = [curve_of(newest, f"ch {channel}", NOW, until)]
        before = list(kept)[-2 : -2 - earlier : -1] if earlier else []
        curves += [curve_of(event.trace, "drive before", BEFORE, until) for event in before]
        alike = [s for s in self._job.sisters(channel) if s in self._kept][:sisters]
        curves += [curve_of(self._kept[s][-1].trace, f"ch {s}, alike", ALIKE, until) for s in alike]
        return TraceView(
            title=self._job.channel(channel).name,
            curves=tuple(curves),
            band=self._band(kept[-1]),
            channel=channel,
            reading=f"! TRIPPED, at least {peak}" if newest.tripped else f"peak {peak}",
            on_time_s=newest.on_time_s,
        )

    def readings(self, channel: int, first_s: float, second_s: float) -> ReadingView | None:
        """Return what two cursors read from a channel's newest trace; None without one."""
        kept = self._kept.get(channel)
        if not kept or len(kept[-1].trace) < 2:
            return None
        logic = self._job.load_type(channel).kind in LOGIC_KINDS
        return reading_view(between(kept[-1].trace, first_s, second_s, logic=logic))

    def _band(self, event: TraceTaken) -> TraceBand | None:
        trace = event.trace
        load = self._job.load_type(trace.channel)
        if load.resistance_ohm is None or load.kind in LOGIC_KINDS:
            return None
        wire = self._job.wire_quantity(trace.channel)
        resistance = (load.resistance_ohm.low + wire.low, load.resistance_ohm.high + wire.high)
        inductance = load.inductance_mh
        steady = load.steady_current_a
        band = expected_current(
            trace,
            resistance,
            (inductance.low / 1e3, inductance.high / 1e3) if inductance is not None else None,
            steady_a=steady.low if steady is not None else None,
            saturation_a=load.saturation_a.low if load.saturation_a is not None else None,
        )
        times, low, high = band.time_s, band.low_a, band.high_a
        if event.band_until_s is not None:
            inside = times <= event.band_until_s
            times, low, high = times[inside], low[inside], high[inside]
        if not len(times):
            return None
        return TraceBand(_floats(times), _floats(low), _floats(high))


def curve_of(trace: Trace, label: str, kind: int = -1, until_s: float = math.inf) -> Curve:
    """Return a trace, up to an instant, as it is drawn.

    Args:
        trace: the trace.
        label: its name in the legend.
        kind: how it is drawn; -1: by its place in the view.
        until_s: the instant, in s after switch-on.
    """
    shown = trace.time_s <= until_s
    return Curve(label, _floats(trace.time_s[shown]), _floats(trace.current_a[shown]), kind)


def _floats(values: Iterable[float]) -> tuple[float, ...]:
    return tuple(float(value) for value in values)


_PREFIXES = ((1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"))


def engineering(estimate: Estimate, unit: str) -> str:
    """Return a value with a prefix and its expanded uncertainty (k = 2), to that uncertainty's first figures."""
    reach = max(abs(estimate.value), 2.0 * estimate.u)
    factor, prefix = next(((f, p) for f, p in _PREFIXES if reach >= f), _PREFIXES[-1])
    value, u2 = estimate.value / factor, 2.0 * estimate.u / factor
    digits = 0
    while digits < 3 and u2 < 10 ** (1 - digits):
        digits += 1
    return f"{value:.{digits}f} ± {u2:.{digits}f} {prefix}{unit}"


def time_text(seconds: float) -> str:
    """Return a time in ms, or in µs where it is short."""
    return f"{seconds * 1e3:.3f} ms" if abs(seconds) >= 1e-3 else f"{seconds * 1e6:.0f} µs"


def reading_view(read: Between) -> ReadingView:
    """Return readings in words."""
    taken = read.energy_j.value >= 0
    energy = read.energy_j if taken else read.energy_j.scaled(-1.0)
    return ReadingView(
        (
            ("A", f"{time_text(read.first_s)}  {engineering(read.first_a, 'A')}"),
            ("B", f"{time_text(read.second_s)}  {engineering(read.second_a, 'A')}"),
            ("B-A", f"{time_text(read.second_s - read.first_s)}  {engineering(read.difference_a, 'A')}"),
            ("slope", engineering(read.slope_a_per_s, "A/s") if read.slope_a_per_s is not None else "-"),
            ("charge", engineering(read.charge_c, "C")),
            ("energy", f"{engineering(energy, 'J')} {'taken' if taken else 'given back'}"),
        )
    )
