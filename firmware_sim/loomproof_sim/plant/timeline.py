"""What has happened to a loom and what is foreseen: stretches of time between one event and the next.

An era ends with a switch, a hand, a break of a contact or an event within a load; what was foreseen after a switch
or a hand is forgotten and begun anew.
"""

from bisect import bisect_right
from math import inf

import numpy as np

from loomproof_sim.plant.circuit import Circuit, Moment
from loomproof_sim.plant.loads.base import Array
from loomproof_sim.plant.segment import Beginner, Era, LoadState
from loomproof_sim.plant.spec import Drive, LoomSpec

_KEPT_ERAS = 20_000
_MOST_AT_ONCE = 200
_DUST_A = 5e-6


class History:
    """The eras of one loom on one box, from time 0 with all outputs off."""

    def __init__(self, loom: LoomSpec) -> None:
        self.loom = loom
        self.channels = tuple(sorted(b.channel for b in loom.branches))
        self._circuit = Circuit(loom)
        self._beginner = Beginner(self._circuit)
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
