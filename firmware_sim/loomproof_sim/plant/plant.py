"""The electrical world behind the box's pins, sampled at instants.

Currents follow from the circuit: between switch edges in closed form where the loads are linear, by adaptive
integration where they are not. The values at an instant depend neither on the other instants sampled nor on
their order.
"""

from collections.abc import Sequence
from math import inf
from typing import NamedTuple

import numpy as np

from loomproof_sim.plant.circuit import IGNITER_OFFSET
from loomproof_sim.plant.loads.base import Array
from loomproof_sim.plant.spec import Drive, IntermittentSpec, LoomSpec
from loomproof_sim.plant.timeline import Timeline


class PinSample(NamedTuple):
    """True values at one instant: current into the drain (or out of the supply), voltages to ground."""

    current_a: float
    drain_v: float
    supply_v: float


class Plant(Timeline):
    """One loom on one box, from time 0 with all outputs off; `seed` draws the breaks of bad contacts."""

    def __init__(self, loom: LoomSpec, *, seed: int = 0) -> None:
        super().__init__(loom)
        self._random = np.random.default_rng(seed)

    # -- driving -------------------------------------------------------------------------------

    def switch(self, channel: int, drive: Drive, time_s: float) -> None:
        """Set an output stage from an instant on.

        Raises:
            ValueError: the instant lies before an earlier switch or hand.
        """
        self._check(channel)
        self._commit(time_s)
        if self._drives[channel] is drive:
            return
        if self._drives[channel] is Drive.OFF:
            self._last_on[channel] = time_s
        self._drives[channel] = drive
        self._restart(time_s)

    def drive(self, channel: int) -> Drive:
        """Return what the output stage does now."""
        self._check(channel)
        return self._drives[channel]

    # -- looking -------------------------------------------------------------------------------

    def sample(self, channel: int, time_s: float) -> PinSample:
        """Return the true pin values at one instant."""
        self._check(channel)
        segment = self._segment_at(time_s)
        row = segment.pins(channel, np.array([time_s]))[0]
        return PinSample(float(row[0]), float(row[1]), float(row[2]))

    def sample_many(self, channel: int, times_s: Array | Sequence[float]) -> tuple[Array, Array, Array]:
        """Return the true driver current (A), drain and supply voltage (V) at many instants, in any order."""
        self._check(channel)
        times = np.asarray(times_s, dtype=np.float64)
        out = np.empty((len(times), 3))
        for segment, mask in self._by_segment(times):
            out[mask] = segment.pins(channel, times[mask])
        return out[:, 0], out[:, 1], out[:, 2]

    def resting_drain_v(self, channel: int, time_s: float) -> float:
        """Return the drain voltage that bias and load make."""
        return self.sample(channel, time_s).drain_v

    def load_current(self, channel: int, times_s: Array | Sequence[float]) -> Array:
        """Return the current through the load itself (A), which an inductance keeps continuous; no box can see it."""
        self._check(channel)
        times = np.asarray(times_s, dtype=np.float64)
        out = np.zeros(len(times))
        if channel in self._circuit.index:
            for segment, mask in self._by_segment(times):
                out[mask] = segment.load_currents(channel, times[mask])
        return out

    def primary_current(self, channel: int, times_s: Array | Sequence[float]) -> Array:
        """Return the current through an ignition coil's primary (A), also behind an igniter."""
        self._check(channel)
        times = np.asarray(times_s, dtype=np.float64)
        hidden = channel + IGNITER_OFFSET
        if hidden not in self._circuit.index:
            return self.load_current(channel, times)
        out = np.zeros(len(times))
        for segment, mask in self._by_segment(times):
            out[mask] = segment.load_currents(hidden, times[mask])
        return out

    def last_on_s(self, channel: int) -> float | None:
        """Return when the channel was last switched on, or None."""
        self._check(channel)
        return self._last_on.get(channel)

    def supply_current(self, times_s: Array | Sequence[float]) -> Array:
        """Return the current out of the battery (A)."""
        times = np.asarray(times_s, dtype=np.float64)
        volts = self.sample_many(self.channels[0], times)[2]
        out = np.zeros(len(times))
        for segment, mask in self._by_segment(times):
            if segment.moment.supply_on:
                ohm = max(self.loom.supply.internal_ohm, 1e-7)
                out[mask] = (segment.moment.emf_v - volts[mask]) / ohm
        return out

    # -- for the safety tests ------------------------------------------------------------------

    def moved(self, channel: int) -> bool:
        """Return whether the moving part reached its stop, or a motor turned, since the channel was last switched on."""
        self._check(channel)
        load = self._circuit.loads.get(channel)
        if load is None:
            return False
        since, now = self._last_on.get(channel, -inf), self._now
        self._extend(now)
        for k in range(len(self._segments) - 1, -1, -1):
            segment = self._segments[k]
            end = min(now, self._starts[k + 1] if k + 1 < len(self._segments) else inf)
            if end < since:
                break
            if channel in segment.coasting:
                if segment.coasting[channel].moved(max(since, segment.t0), end):
                    return True
            elif load.has_moved(*segment.state(channel, max(segment.t0, since))) or load.has_moved(
                *segment.state(channel, end)
            ):
                return True
        return False

    def stored_energy_j(self, channel: int, time_s: float | None = None) -> float:
        """Return the magnetic energy in the load, an igniter's primary included."""
        self._check(channel)
        t = self._now if time_s is None else time_s
        segment = self._segment_at(t)
        total = 0.0
        for key in (channel, channel + IGNITER_OFFSET):
            if key in self._circuit.loads:
                y, phase = segment.state(key, t)
                if key in segment.moment.active:
                    total += self._circuit.loads[key].magnetic_j(y, phase)
        return total

    def mechanical_energy_j(self, channel: int, time_s: float | None = None) -> float:
        """Return the kinetic and spring energy of the moving part."""
        t = self._now if time_s is None else time_s
        load = self._circuit.loads.get(channel)
        return load.mechanical_j(self._segment_at(t).state(channel, t).y) if load else 0.0

    def friction_w(self, channel: int, time_s: float) -> float:
        """Return the power lost outside the winding: friction, driven load, radiation, shorted turns."""
        load = self._circuit.loads.get(channel)
        return load.friction_w(self._segment_at(time_s).state(channel, time_s).y) if load else 0.0

    def armature_travel(self, channel: int, time_s: float | None = None) -> float:
        """Return the travel: 0 at rest, 1 at the far stop; for a motor the back-EMF over 13.5 V."""
        self._check(channel)
        t = self._now if time_s is None else time_s
        load = self._circuit.loads.get(channel)
        return load.travel(self._segment_at(t).state(channel, t).y) if load and load.states else 0.0

    # -- the hands -----------------------------------------------------------------------------

    @property
    def now_s(self) -> float:
        """The latest instant that was sampled or acted at."""
        return self._now

    def pull(self, channel: int, time_s: float | None = None) -> None:
        """Unplug the load's connector, now or at an instant."""
        self._seat(channel, False, time_s)

    def seat(self, channel: int, time_s: float | None = None) -> None:
        """Plug the load's connector in again, now or at an instant."""
        self._seat(channel, True, time_s)

    def wiggle(self, channel: int, time_s: float, duration_s: float, severity: float = 1.0) -> None:
        """Wiggle the loom at this channel's wire: a bad contact there breaks at random, a sound one does not.

        Args:
            channel: the channel whose wire is wiggled.
            time_s: when it begins.
            duration_s: how long it lasts.
            severity: multiplies the rate of breaks.
        """
        self._check(channel)
        bad = self._circuit.branches[channel].intermittent
        if bad is None or severity <= 0.0 or duration_s <= 0.0:
            return
        self._commit(time_s)
        self._breaks += self._draw_breaks(bad, channel, time_s, time_s + duration_s, severity)
        self._breaks.sort()
        self._restart(time_s)

    def set_supply(self, state: bool | float, time_s: float | None = None) -> None:
        """Connect or disconnect the supply (bool), or set its electromotive force in V."""
        t = self._now if time_s is None else time_s
        self._commit(t)
        if isinstance(state, bool):
            self._on = state
        else:
            self._emf_v = float(state)
        self._restart(t)

    # -- inside --------------------------------------------------------------------------------

    def _check(self, channel: int) -> None:
        if channel not in self._drives:
            raise KeyError(f"the loom has no channel {channel}; it has {', '.join(map(str, self.channels))}")

    def _seat(self, channel: int, seated: bool, time_s: float | None) -> None:
        self._check(channel)
        t = self._now if time_s is None else time_s
        self._commit(t)
        self._seated[channel] = seated
        self._restart(t)

    def _draw_breaks(
        self, bad: IntermittentSpec, channel: int, start: float, end: float, severity: float
    ) -> list[tuple[float, int, bool]]:
        out: list[tuple[float, int, bool]] = []
        t = start + float(self._random.exponential(1.0 / (bad.breaks_per_s * severity)))
        while t < end:
            length = max(bad.shortest_open_s, float(self._random.exponential(bad.mean_open_s)))
            close = min(t + length, end)
            out += [(t, channel, True), (close, channel, False)]
            t = close + float(self._random.exponential(1.0 / (bad.breaks_per_s * severity)))
        return out
