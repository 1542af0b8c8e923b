"""The electrical world behind the box's pins, asked at instants.

Currents follow from the circuit: between switch edges in closed form where the loads are linear, by adaptive
integration where they are not. The answer for an instant does not depend on which other instants are asked,
nor in which order.
"""

from bisect import bisect_right
from collections.abc import Sequence
from math import inf
from typing import NamedTuple

import numpy as np

from loomproof_sim.plant.circuit import IGNITER_OFFSET, Circuit, Moment
from loomproof_sim.plant.era import Beginner, Era, LoadState
from loomproof_sim.plant.loads.base import Array
from loomproof_sim.plant.spec import Drive, IntermittentSpec, LoomSpec

_KEPT_ERAS = 20_000
_MOST_AT_ONCE = 200
_DUST_A = 5e-6


class PinSample(NamedTuple):
    """True values at one instant: current into the drain (or out of the supply), voltages to ground."""

    current_a: float
    drain_v: float
    supply_v: float


class Plant:
    """One loom on one box, from time 0 with all outputs off."""

    def __init__(self, loom: LoomSpec, *, seed: int = 0) -> None:
        self.loom = loom
        self.channels = tuple(sorted(b.channel for b in loom.branches))
        self._circuit = Circuit(loom)
        self._beginner = Beginner(self._circuit)
        self._random = np.random.default_rng(seed)
        self._drives = dict.fromkeys(self.channels, Drive.OFF)
        self._seated = {b.channel: b.connected for b in loom.branches}
        self._emf_v, self._on = loom.supply.emf_v, loom.supply.on
        self._breaks: list[tuple[float, int, bool]] = []  # time, channel, now open
        self._committed = 0.0
        self._now = 0.0
        self._last_on: dict[int, float] = {}
        moment = self._moment(0.0, frozenset(), frozenset())
        first = self._beginner.begin(0.0, moment, {}, frozenset(), lones={}, trickles={})
        self._eras: list[Era] = [first]
        self._starts: list[float] = [0.0]

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

    def _moment(self, t: float, firing: frozenset[int], active: frozenset[int]) -> Moment:
        flexed: dict[int, bool] = {}
        for when, channel, is_open in self._breaks:
            if when > t:
                break
            flexed[channel] = is_open
        broken = frozenset(c for c in self.channels if flexed.get(c) or not self._seated[c])
        return Moment(tuple(self._drives.items()), broken, self._emf_v, self._on, firing, active)

    def _commit(self, t: float) -> None:
        if not 0.0 <= t < inf:
            raise ValueError(f"time must be a finite number of seconds from 0 on, not {t}")
        if t < self._committed:
            raise ValueError(f"time runs backwards: {t} s after something was done at {self._committed} s")
        self._committed = t
        self._now = max(self._now, t)
        self._extend(t)

    def _restart(self, t: float) -> None:
        """Forget what was foreseen after `t` and begin anew with the present drives and contacts."""
        last = bisect_right(self._starts, t) - 1
        del self._eras[last + 1 :], self._starts[last + 1 :]
        old = self._eras[-1]
        moment = self._moment(t, old.moment.firing, old.moment.active)
        if moment == old.moment:
            return
        states = old.states(t)
        era = self._beginner.begin(
            t, moment, states, old.solved.on, lones=old.lones, trickles=old.trickles(t)
        )
        if old.t0 == t and len(self._eras) > 1:
            self._eras.pop()
            self._starts.pop()
            era.fading = (*old.fading, *era.fading)
        self._append(era)

    def _append(self, era: Era) -> None:
        self._eras.append(era)
        self._starts.append(era.t0)
        if len(self._eras) > _KEPT_ERAS:
            del self._eras[: _KEPT_ERAS // 2], self._starts[: _KEPT_ERAS // 2]

    def _next_break(self, after: float) -> float:
        k = bisect_right(self._breaks, (after, 1 << 30, True))
        return self._breaks[k][0] if k < len(self._breaks) else inf

    def _extend(self, t: float) -> None:
        """Foresee everything up to `t`."""
        at_once = 0
        while True:
            era = self._eras[-1]
            edge = self._next_break(era.t0)
            limit = min(t, edge)
            if not era.piece.reach(limit):
                era = self._after_event(era)
                at_once = at_once + 1 if era.t0 <= self._starts[-1] + 1e-12 else 0
                if at_once > _MOST_AT_ONCE:
                    raise ArithmeticError(f"the loom switches without end at {era.t0} s")
                self._append(era)
            elif edge <= t:
                moment = self._moment(edge, era.moment.firing, era.moment.active)
                now = era.states(edge)
                trickles = era.trickles(edge)
                era = self._beginner.begin(
                    edge, moment, now, era.solved.on, lones=era.lones, trickles=trickles
                )
                self._append(era)
            else:
                return

    def _after_event(self, era: Era) -> Era:
        piece, system = era.piece, era.piece.system
        assert piece.end_s is not None
        t = piece.end_s
        states = era.states(t)
        on = era.solved.on
        if piece.event < len(system.guards):
            n, guard = system.guards[piece.event]
            m = system.members[n]
            y, phase = m.load.cross(states[m.key].y, m.phase, guard)
            states[m.key] = states[m.key]._replace(y=y, phase=phase)
        else:
            on = on ^ {int(system.one_ways[piece.event - len(system.guards)])}
            states = {key: self._without_dust(key, state) for key, state in states.items()}
        return self._beginner.begin(
            t, era.moment, states, on, lones=era.lones, trickles=era.trickles(t), nudge=False
        )

    def _without_dust(self, key: int, state: LoadState) -> LoadState:
        """A diode lets go a microampere late; behind megohms that would be volts, and bounce."""
        load = self._circuit.loads[key]
        if load.algebraic or not load.snaps or abs(load.current(*state)) > _DUST_A:
            return state
        return LoadState(load.nudged(*state, 0.0), state.phase)

    def _era_at(self, t: float) -> Era:
        if t < self._starts[0]:
            raise ValueError(f"{t} s is before the kept history, which begins at {self._starts[0]} s")
        self._now = max(self._now, t)
        self._extend(t)
        return self._eras[bisect_right(self._starts, t) - 1]

    def _by_era(self, times: Array) -> list[tuple[Era, Array]]:
        if not len(times):
            return []
        if not np.isfinite(times).all() or times.min() < self._starts[0]:
            raise ValueError(f"instants must be finite and not before {self._starts[0]} s")
        self._era_at(float(times.max()))
        which = np.searchsorted(np.array(self._starts), times, side="right") - 1
        return [(self._eras[k], which == k) for k in np.unique(which)]
