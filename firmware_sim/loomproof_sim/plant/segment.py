"""Segments of time without an event: which loads carry current, which coast, and what the pins show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from loomproof_sim.plant.circuit import Circuit, Moment
from loomproof_sim.plant.equations import Member, Piece, System, make_piece
from loomproof_sim.plant.loads.base import Array, Load
from loomproof_sim.plant.loads.logic import LogicInput
from loomproof_sim.plant.network import Solved, Solver

_WAKE_A = 1.2e-3
"""A load that carries more than this is integrated; below, it counts as a resistance."""
_LET_GO_OHM = 2000.0
"""Behind more than this a winding's current decays within microseconds to the resting current."""


class LoadState(NamedTuple):
    """State vector and phase of one load."""

    y: list[float]
    phase: int


class CoastingLoad:
    """A load without current that still moves, turns or cools."""

    def __init__(self, key: int, load: Load, state: LoadState, t0: float) -> None:
        self.key, self.load = key, load
        self.has_emf = type(load).emf is not Load.emf
        self.pieces: list[Piece] = [self._piece(state, t0)]

    def _piece(self, state: LoadState, t0: float) -> Piece:
        return make_piece(System([Member(self.key, self.load, state.phase, 0)], None, []), t0, state.y)

    def _covering(self, t: float) -> Piece:
        while not self.pieces[-1].reach(t):
            last = self.pieces[-1]
            assert last.end_s is not None
            phase = last.system.members[0].phase
            y, phase = self.load.cross(last.at(last.end_s), phase, last.system.guards[last.event][1])
            self.pieces.append(self._piece(LoadState(y, phase), last.end_s))
        return next(p for p in reversed(self.pieces) if p.t0 <= t or p is self.pieces[0])

    def state(self, t: float) -> LoadState:
        """Return the state at a time from its beginning on."""
        piece = self._covering(t)
        return LoadState(piece.at(t), piece.system.members[0].phase)

    def moved(self, since: float, until: float) -> bool:
        """Return whether the moving part reached its stop within a stretch of time."""
        self._covering(until)
        for piece in self.pieces:
            end = until if piece.end_s is None else min(until, piece.end_s)
            if piece.t0 <= until and end >= since:
                phase = piece.system.members[0].phase
                if self.load.has_moved(piece.at(max(piece.t0, since)), phase):
                    return True
                if self.load.has_moved(piece.at(end), phase):
                    return True
        return False


@dataclass(frozen=True, slots=True)
class DecayingCurrent:
    """The last milliampere of a winding whose path has opened; it decays within microseconds."""

    port: int
    amp: float
    tau_s: float


class Segment:
    """The loom from `t0` to the next switch, event or hand."""

    def __init__(
        self, circuit: Circuit, moment: Moment, solved: Solved, piece: Piece, *, coasting: Mapping[int, CoastingLoad],
        decaying: Sequence[DecayingCurrent],
    ) -> None:  # fmt: skip
        self.circuit, self.moment, self.solved, self.piece = circuit, moment, solved, piece
        self.coasting = dict(coasting)
        self.decaying = tuple(decaying)
        self.t0 = piece.t0
        self._rows: dict[int, tuple[Array, Array]] = {}

    def state(self, key: int, t: float) -> LoadState:
        """Return the state of a load at a time within the segment."""
        for m in self.piece.system.members:
            if m.key == key:
                return LoadState(self.piece.at(t)[m.part], m.phase)
        if key in self.coasting:
            return self.coasting[key].state(t)
        load = self.circuit.loads[key]
        return LoadState(load.rest(), load.first_phase())

    def states(self, t: float) -> dict[int, LoadState]:
        """Return the states of all loads that are not at rest."""
        y = self.piece.at(t)
        out = {m.key: LoadState(y[m.part], m.phase) for m in self.piece.system.members}
        out.update({key: coaster.state(t) for key, coaster in self.coasting.items()})
        return out

    def port_currents(self, times: Array) -> Array:
        """Return the current that each port adds to the network (rows: times); 0 for plain resistances."""
        out = np.zeros((len(times), len(self.circuit.keys)))
        system = self.piece.system
        if system.members:
            out[:, system.port] = system.currents_many(self.piece.at_many(times))
        for key, coaster in self.coasting.items():
            if coaster.has_emf and coaster.load.emf(coaster.state(float(times[0])).y):
                k, ohm = self.circuit.index[key], coaster.load.static_ohm
                out[:, k] = [-coaster.load.emf(y) / ohm for y in coaster.pieces[0].at_many(times).tolist()]
        for f in self.decaying:
            out[:, f.port] += f.amp * np.exp(-(times - self.t0) / f.tau_s)
        return out

    def load_currents(self, key: int, times: Array) -> Array:
        """Return the current through one load itself."""
        k = self.circuit.index[key]
        ports = self.port_currents(times)
        if key in self.moment.active:
            return ports[:, k]
        volt = self.solved.open_v[k] - ports @ self.solved.impedance[k]
        out: Array = volt / self.circuit.loads[key].static_ohm + ports[:, k]
        return out

    def trickles(self, t: float) -> dict[int, float]:
        """Return the small currents of loads that count as resistances, from which their integration would start."""
        ports = self.port_currents(np.array([t]))[0]
        volts = self.solved.open_v - self.solved.impedance @ ports
        return {
            key: float(volts[k] / self.circuit.loads[key].static_ohm + ports[k])
            for k, key in enumerate(self.circuit.keys)
            if key not in self.moment.active
        }

    def pins(self, channel: int, times: Array) -> Array:
        """Return driver current, drain voltage and supply voltage (columns) at times (rows)."""
        base, columns = self._pin_rows(channel)
        if not columns.any():
            return np.broadcast_to(base, (len(times), 3))
        out: Array = base + self.port_currents(times) @ columns
        return out

    def _pin_rows(self, channel: int) -> tuple[Array, Array]:
        found = self._rows.get(channel)
        if found is None:
            c, s = self.circuit, self.solved
            pin, supply = c.node[("pin", channel)], c.node["supply"]
            weights = c.shunt(channel, dict(self.moment.drives)[channel])
            base = 0.0
            row = np.zeros(s.columns.shape[1])
            for node, w in weights.items():
                base += w * s.base[node]
                row += w * s.columns[node]
            for k, sign in c.shunt_one_ways(channel):
                if k in s.on:
                    base += sign * s.margin_base[k]
                    row += sign * s.margin_columns[k]
            columns = np.array([row, s.columns[pin], s.columns[supply]]).T
            found = self._rows[channel] = (np.array([base, s.base[pin], s.base[supply]]), columns)
        return found


class SegmentBuilder:
    """Builds the segment that starts at an instant."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self._solver = Solver()

    def begin(
        self,
        t: float,
        moment: Moment,
        states: Mapping[int, LoadState],
        on: frozenset[int],
        *,
        coasting: Mapping[int, CoastingLoad],
        trickles: Mapping[int, float],
        nudge: bool = True,
    ) -> Segment:
        """Return the segment that starts at `t` with these load states.

        Args:
            t: start in s.
            moment: drives, contacts and supply from now on, with the active set of before.
            states: states of the loads that are not at rest.
            on: one-way elements that are taken to conduct at first.
            coasting: loads that coast already.
            trickles: currents so far of the loads that counted as resistances.
            nudge: whether a load may get a trickle that opens its path. That is right after a switch or a hand;
                after an event of the load's own it would repeat without end.

        Raises:
            ArithmeticError: no state of the loom is consistent.
        """
        moment, solved, known = self._agree(moment, dict(states), on, trickles, 2 if nudge else 1)
        return self._segment(t, moment, solved, known, coasting)

    def _agree(
        self,
        moment: Moment,
        states: dict[int, LoadState],
        on: frozenset[int],
        trickles: Mapping[int, float],
        most_starts: int,
    ) -> tuple[Moment, Solved, dict[int, LoadState]]:
        """Find which loads carry current, which diodes conduct and which igniters fire, all at once."""
        starts: dict[int, int] = {}
        for _ in range(400):
            solved = self._settle(moment, states, on)
            on = solved.on
            currents = self._currents(solved, moment, states)
            firing = self.circuit.firing(solved, currents)
            starting = self._starting(solved, moment, states, currents)
            stopping = set() if starting else self._stopping(solved, moment, currents)
            change = {key for key in starting if starts.get(key, 0) < most_starts} | stopping
            if firing == moment.firing and not change:
                return moment, solved, states
            for key, push_a in starting.items():
                starts[key] = starts.get(key, 0) + 1
                # it starts from the current that flowed, or from more where only more opens its path past a diode
                amp = push_a if starts[key] > 1 else trickles.get(key, 0.0)
                if amp and starts[key] <= most_starts:
                    state = self._state(key, states)
                    states[key] = state._replace(y=self.circuit.loads[key].nudged(*state, amp))
            moment = replace(moment, firing=firing, active=moment.active ^ change)
        raise ArithmeticError("the loom found no consistent state")

    def _settle(self, moment: Moment, states: Mapping[int, LoadState], on: frozenset[int]) -> Solved:
        return self._solver.settle(
            moment, lambda: self.circuit.elements(moment), on, lambda s: self._currents(s, moment, states)
        )

    def _state(self, key: int, states: Mapping[int, LoadState]) -> LoadState:
        load = self.circuit.loads[key]
        return states.get(key) or LoadState(load.rest(), load.first_phase())

    def _currents(self, solved: Solved, moment: Moment, states: Mapping[int, LoadState]) -> Array:
        out = np.zeros(len(self.circuit.keys))
        lamps = []
        for key in moment.active:
            load, k = self.circuit.loads[key], self.circuit.index[key]
            y, phase = self._state(key, states)
            if load.algebraic:
                lamps.append((k, load.ohm(y)))
            else:
                out[k] = load.current(y, phase)
        if lamps:
            ks = [k for k, _ in lamps]
            z = solved.impedance[np.ix_(ks, ks)] + np.diag([ohm for _, ohm in lamps])
            out[ks] = np.linalg.solve(z, solved.open_v[ks] - solved.impedance[ks] @ out)
        return out

    def _starting(
        self, solved: Solved, moment: Moment, states: Mapping[int, LoadState], currents: Array
    ) -> dict[int, float]:
        """Return the loads that start to carry current, each with a trickle in its direction."""
        out = {}
        volts = solved.open_v - solved.impedance @ currents
        for k, key in enumerate(self.circuit.keys):
            load = self.circuit.loads[key]
            if key in moment.active or isinstance(load, LogicInput):
                continue
            behind = self._behind(solved, k, load.static_ohm)
            emf = load.emf(self._state(key, states).y)
            amp = volts[k] / load.static_ohm - emf / (behind + load.static_ohm)
            if behind < _LET_GO_OHM and abs(amp) > _WAKE_A:
                out[key] = 2.0 * _WAKE_A * (1.0 if amp > 0.0 else -1.0)
        return out

    @staticmethod
    def _behind(solved: Solved, k: int, ohm: float) -> float:
        """Return the resistance seen by a load that is in the network as a resistance."""
        both = float(solved.impedance[k, k])
        return both * ohm / max(ohm - both, 1e-9 * ohm)

    def _stopping(self, solved: Solved, moment: Moment, currents: Array) -> set[int]:
        """Return the loads whose path has opened."""
        keys = (key for key in moment.active if solved.impedance[self.circuit.index[key]].item(
            self.circuit.index[key]) > _LET_GO_OHM)  # fmt: skip
        return {key for key in keys if abs(currents[self.circuit.index[key]]) < 50 * _WAKE_A}

    def _segment(
        self,
        t: float,
        moment: Moment,
        solved: Solved,
        states: Mapping[int, LoadState],
        coasting: Mapping[int, CoastingLoad],
    ) -> Segment:
        members: list[Member] = []
        y0: list[float] = []
        for key in self.circuit.keys:
            if key in moment.active:
                y, phase = self._state(key, states)
                members.append(Member(key, self.circuit.loads[key], phase, len(y0)))
                y0 += y
        system = System(members, solved, [self.circuit.index[m.key] for m in members])
        keep, decaying = self._coasting(t, moment, solved, states, coasting)
        return Segment(
            self.circuit, moment, solved, make_piece(system, t, y0), coasting=keep, decaying=decaying
        )

    def _coasting(
        self,
        t: float,
        moment: Moment,
        solved: Solved,
        states: Mapping[int, LoadState],
        coasting: Mapping[int, CoastingLoad],
    ) -> tuple[dict[int, CoastingLoad], list[DecayingCurrent]]:
        keep: dict[int, CoastingLoad] = {}
        decaying: list[DecayingCurrent] = []
        for key, state in states.items():
            load = self.circuit.loads[key]
            if key in moment.active:
                continue
            if key in coasting:
                if not load.is_rest(*state):
                    keep[key] = coasting[key]
                continue
            fade = self._fade(key, state, solved)
            if fade:
                decaying.append(fade)
            left = load.free_state(state.y)
            if not load.is_rest(left, state.phase):
                keep[key] = CoastingLoad(key, load, self._dropped(load, left, state.phase), t)
        return keep, decaying

    @staticmethod
    def _dropped(load: Load, y: list[float], phase: int) -> LoadState:
        """Return the state of an armature that leaves its far stop as the flux decays."""
        guards = load.guards(phase, free=True)
        for k, g in enumerate(guards):
            if sum(w * s for w, s in zip(g.weights, y, strict=True)) + g.offset < 0.0:
                return LoadState(*load.cross(y, phase, k))
        return LoadState(y, phase)

    def _fade(self, key: int, state: LoadState, solved: Solved) -> DecayingCurrent | None:
        load, k = self.circuit.loads[key], self.circuit.index[key]
        if load.algebraic:
            return None
        amp = load.current(state.y, state.phase)
        if amp == 0.0:
            return None
        ohm = load.static_ohm
        behind = self._behind(solved, k, ohm)
        rest_a = float(solved.open_v[k]) / ohm - load.emf(state.y) / (behind + ohm)
        inductance = 2.0 * load.magnetic_j(state.y, state.phase) / amp**2
        return DecayingCurrent(k, (amp - rest_a) * (1.0 + behind / ohm), inductance / (behind + ohm))
