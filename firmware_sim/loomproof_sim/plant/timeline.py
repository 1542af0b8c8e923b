"""The past of a loom and its foreseeable future, as segments of time from one event to the next.

A segment ends with a switch, a hand, the break of a contact or an event within a load. A switch or a hand
discards the segments that were computed ahead.
"""

from bisect import bisect_right
from math import inf

import numpy as np

from loomproof_sim.plant.circuit import Circuit, Moment
from loomproof_sim.plant.equations import CALMED
from loomproof_sim.plant.loads.base import Array
from loomproof_sim.plant.segment import LoadState, Segment, SegmentBuilder
from loomproof_sim.plant.spec import Drive, LoomSpec

_KEPT_SEGMENTS = 20_000
_MOST_AT_ONCE = 200
_DUST_A = 5e-6


class Timeline:
    """The segments of one loom on one box, from time 0 with all outputs off."""

    def __init__(self, loom: LoomSpec) -> None:
        self.loom = loom
        self.channels = tuple(sorted(b.channel for b in loom.branches))
        self._circuit = Circuit(loom)
        self._builder = SegmentBuilder(self._circuit)
        self._drives = dict.fromkeys(self.channels, Drive.OFF)
        self._seated = {b.channel: b.connected for b in loom.branches}
        self._emf_v, self._on = loom.supply.emf_v, loom.supply.on
        self._breaks: list[tuple[float, int, bool]] = []  # time, channel, now open
        self._committed = 0.0
        self._now = 0.0
        self._last_on: dict[int, float] = {}
        moment = self._moment(0.0, frozenset(), frozenset())
        first = self._builder.begin(0.0, moment, {}, frozenset(), coasting={}, trickles={})
        self._segments: list[Segment] = [first]
        self._starts: list[float] = [0.0]

    def _moment(self, t: float, firing: frozenset[int], active: frozenset[int]) -> Moment:
        wiggled: dict[int, bool] = {}
        for when, channel, is_open in self._breaks:
            if when > t:
                break
            wiggled[channel] = is_open
        broken = frozenset(c for c in self.channels if wiggled.get(c) or not self._seated[c])
        return Moment(tuple(self._drives.items()), broken, self._emf_v, self._on, firing, active)

    def _commit(self, t: float) -> None:
        if not 0.0 <= t < inf:
            raise ValueError(f"time must be a finite number of seconds from 0 on, not {t}")
        if t < self._committed:
            raise ValueError(f"time runs backwards: {t} s, after an act at {self._committed} s")
        self._committed = t
        self._now = max(self._now, t)
        self._extend(t)

    def _restart(self, t: float) -> None:
        """Discard the segments after `t` and begin anew with the present drives and contacts."""
        last = bisect_right(self._starts, t) - 1
        del self._segments[last + 1 :], self._starts[last + 1 :]
        old = self._segments[-1]
        moment = self._moment(t, old.moment.firing, old.moment.active)
        if moment == old.moment:
            return
        states = old.states(t)
        segment = self._builder.begin(
            t, moment, states, old.solved.on, coasting=old.coasting, trickles=old.trickles(t)
        )
        if old.t0 == t and len(self._segments) > 1:
            self._segments.pop()
            self._starts.pop()
            segment.decaying = (*old.decaying, *segment.decaying)
        self._append(segment)

    def _append(self, segment: Segment) -> None:
        self._segments.append(segment)
        self._starts.append(segment.t0)
        if len(self._segments) > _KEPT_SEGMENTS:
            del self._segments[: _KEPT_SEGMENTS // 2], self._starts[: _KEPT_SEGMENTS // 2]

    def _next_break(self, after: float) -> float:
        k = bisect_right(self._breaks, (after, 1 << 30, True))
        return self._breaks[k][0] if k < len(self._breaks) else inf

    def _extend(self, t: float) -> None:
        """Compute the segments up to `t`."""
        at_once = 0
        while True:
            segment = self._segments[-1]
            edge = self._next_break(segment.t0)
            limit = min(t, edge)
            if not segment.piece.reach(limit):
                segment = self._after_event(segment)
                at_once = at_once + 1 if segment.t0 <= self._starts[-1] + 1e-12 else 0
                if at_once > _MOST_AT_ONCE:
                    raise ArithmeticError(f"the loom switches without end at {segment.t0} s")
                self._append(segment)
            elif edge <= t:
                moment = self._moment(edge, segment.moment.firing, segment.moment.active)
                now = segment.states(edge)
                trickles = segment.trickles(edge)
                segment = self._builder.begin(
                    edge, moment, now, segment.solved.on, coasting=segment.coasting, trickles=trickles
                )
                self._append(segment)
            else:
                return

    def _after_event(self, segment: Segment) -> Segment:
        piece, system = segment.piece, segment.piece.system
        assert piece.end_s is not None
        t = piece.end_s
        states = segment.states(t)
        on = segment.solved.on
        if piece.event == CALMED:
            phases = system.calmed([v for m in system.members for v in states[m.key].y]) or {}
            states |= {key: states[key]._replace(phase=phase) for key, phase in phases.items()}
        elif piece.event < len(system.guards):
            n, guard = system.guards[piece.event]
            m = system.members[n]
            y, phase = m.load.cross(states[m.key].y, m.phase, guard)
            states[m.key] = states[m.key]._replace(y=y, phase=phase)
        else:
            on = on ^ {int(system.one_ways[piece.event - len(system.guards)])}
            states = {key: self._without_dust(key, state) for key, state in states.items()}
        return self._builder.begin(
            t,
            segment.moment,
            states,
            on,
            coasting=segment.coasting,
            trickles=segment.trickles(t),
            nudge=False,
        )

    def _without_dust(self, key: int, state: LoadState) -> LoadState:
        """Return the state without the microampere by which a diode switches late: behind megohms it makes volts."""
        load = self._circuit.loads[key]
        if load.algebraic or not load.snaps or abs(load.current(*state)) > _DUST_A:
            return state
        return LoadState(load.nudged(*state, 0.0), state.phase)

    def _segment_at(self, t: float) -> Segment:
        if t < self._starts[0]:
            raise ValueError(f"{t} s is before the kept history, which begins at {self._starts[0]} s")
        self._now = max(self._now, t)
        self._extend(t)
        return self._segments[bisect_right(self._starts, t) - 1]

    def _by_segment(self, times: Array) -> list[tuple[Segment, Array]]:
        if not len(times):
            return []
        if not np.isfinite(times).all() or times.min() < self._starts[0]:
            raise ValueError(f"instants must be finite and not before {self._starts[0]} s")
        earliest, latest = float(times.min()), float(times.max())
        self._segment_at(latest)
        # Thousands of segments may be kept; these instants lie in a few of them.
        first, last = (bisect_right(self._starts, t) - 1 for t in (earliest, latest))
        if first == last:
            return [(self._segments[first], np.ones(len(times), dtype=np.bool_))]
        starts = np.array(self._starts[first : last + 1])
        which = first + np.searchsorted(starts, times, side="right") - 1
        return [(self._segments[k], which == k) for k in np.unique(which)]
