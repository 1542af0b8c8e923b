"""The electrical world behind the box's pins, asked at instants.

Currents follow from the circuit: between switch edges in closed form where the loads are linear, by adaptive
integration where they are not. The answer for an instant does not depend on which other instants are asked,
nor in which order.
"""

from collections.abc import Sequence
from math import inf
from typing import NamedTuple

import numpy as np

from loomproof_sim.plant.circuit import IGNITER_OFFSET
from loomproof_sim.plant.loads.base import Array
from loomproof_sim.plant.spec import Drive, IntermittentSpec, LoomSpec
from loomproof_sim.plant.timeline import History


class PinSample(NamedTuple):
    """True values at one instant: current into the drain (or out of the supply), voltages to ground."""

    current_a: float
    drain_v: float
    supply_v: float


class Plant(History):
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
        """What the output stage does now."""
        self._check(channel)
        return self._drives[channel]

    # -- looking -------------------------------------------------------------------------------

    def sample(self, channel: int, time_s: float) -> PinSample:
        """True pin values at one instant."""
        self._check(channel)
        era = self._era_at(time_s)
        row = era.pins(channel, np.array([time_s]))[0]
        return PinSample(float(row[0]), float(row[1]), float(row[2]))

    def sample_many(self, channel: int, times_s: Array | Sequence[float]) -> tuple[Array, Array, Array]:
        """True driver current (A), drain and supply voltage (V) at many instants, in any order."""
        self._check(channel)
        times = np.asarray(times_s, dtype=np.float64)
        out = np.empty((len(times), 3))
        for era, mask in self._by_era(times):
            out[mask] = era.pins(channel, times[mask])
        return out[:, 0], out[:, 1], out[:, 2]

    def resting_drain_v(self, channel: int, time_s: float) -> float:
        """Drain voltage, as the bias and the load make it."""
        return self.sample(channel, time_s).drain_v

    def load_current(self, channel: int, times_s: Array | Sequence[float]) -> Array:
        """Current through the load itself (A): what an inductance keeps continuous. Not for a box to see."""
        self._check(channel)
        times = np.asarray(times_s, dtype=np.float64)
        out = np.zeros(len(times))
        if channel in self._circuit.index:
            for era, mask in self._by_era(times):
                out[mask] = era.load_currents(channel, times[mask])
        return out

    def primary_current(self, channel: int, times_s: Array | Sequence[float]) -> Array:
        """Current through an ignition coil's primary (A), also where it hides behind an igniter."""
        self._check(channel)
        times = np.asarray(times_s, dtype=np.float64)
        hidden = channel + IGNITER_OFFSET
        if hidden not in self._circuit.index:
            return self.load_current(channel, times)
        out = np.zeros(len(times))
        for era, mask in self._by_era(times):
            out[mask] = era.load_currents(hidden, times[mask])
        return out

    def last_on_s(self, channel: int) -> float | None:
        """When the channel was last switched on, or None."""
        self._check(channel)
        return self._last_on.get(channel)

    def supply_current(self, times_s: Array | Sequence[float]) -> Array:
        """Current out of the battery (A)."""
        times = np.asarray(times_s, dtype=np.float64)
        volts = self.sample_many(self.channels[0], times)[2]
        out = np.zeros(len(times))
        for era, mask in self._by_era(times):
            if era.moment.supply_on:
                ohm = max(self.loom.supply.internal_ohm, 1e-7)
                out[mask] = (era.moment.emf_v - volts[mask]) / ohm
        return out

    # -- what the safety tests look at ---------------------------------------------------------

    def moved(self, channel: int) -> bool:
        """The moving part reached its stop (a motor: turned) since the channel was last switched on."""
        self._check(channel)
        load = self._circuit.loads.get(channel)
        if load is None:
            return False
        since, now = self._last_on.get(channel, -inf), self._now
        self._extend(now)
        for k in range(len(self._eras) - 1, -1, -1):
            era = self._eras[k]
            end = min(now, self._starts[k + 1] if k + 1 < len(self._eras) else inf)
            if end < since:
                break
            if channel in era.lones:
                if era.lones[channel].moved(max(since, era.t0), end):
                    return True
            elif load.has_moved(*era.state(channel, max(era.t0, since))) or load.has_moved(
                *era.state(channel, end)
            ):
                return True
        return False

    def stored_energy_j(self, channel: int, time_s: float | None = None) -> float:
        """Magnetic energy in the load, an igniter's primary included."""
        self._check(channel)
        t = self._now if time_s is None else time_s
        era = self._era_at(t)
        total = 0.0
        for key in (channel, channel + IGNITER_OFFSET):
            if key in self._circuit.loads:
                y, phase = era.state(key, t)
                if key in era.moment.active:
                    total += self._circuit.loads[key].magnetic_j(y, phase)
        return total

    def mechanical_energy_j(self, channel: int, time_s: float | None = None) -> float:
        """Kinetic and spring energy of the moving part."""
        t = self._now if time_s is None else time_s
        load = self._circuit.loads.get(channel)
        return load.mechanical_j(self._era_at(t).state(channel, t).y) if load else 0.0

    def friction_w(self, channel: int, time_s: float) -> float:
        """Power the load loses other than in its winding: friction, driven load, radiation, shorted turns."""
        load = self._circuit.loads.get(channel)
        return load.friction_w(self._era_at(time_s).state(channel, time_s).y) if load else 0.0

    def armature_travel(self, channel: int, time_s: float | None = None) -> float:
        """0 at rest, 1 at the far stop; for a motor the back-EMF over 13.5 V."""
        self._check(channel)
        t = self._now if time_s is None else time_s
        load = self._circuit.loads.get(channel)
        return load.travel(self._era_at(t).state(channel, t).y) if load and load.states else 0.0

    # -- the hands -----------------------------------------------------------------------------

    @property
    def now_s(self) -> float:
        """The latest instant anybody asked for or acted at."""
        return self._now

    def pull(self, channel: int, time_s: float | None = None) -> None:
        """Unplug the load's connector (now, or at an instant)."""
        self._seat(channel, False, time_s)

    def seat(self, channel: int, time_s: float | None = None) -> None:
        """Plug it in again."""
        self._seat(channel, True, time_s)

    def flex(self, channel: int, time_s: float, duration_s: float, severity: float = 1.0) -> None:
        """Bend the loom at this channel's wire: a bad contact there breaks at random.

        A sound one does not.
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
