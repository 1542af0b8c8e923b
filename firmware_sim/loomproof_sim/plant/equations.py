"""The equations between two events: the phase of each load and the network in front of it.

A piece of the trajectory is solved in closed form by eigenvalues when it is linear, and integrated adaptively
when it is not. Either finds the time at which its first guard goes negative.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from loomproof_sim.plant.integrate import Integrator, bisect_root
from loomproof_sim.plant.loads.base import Array, Load
from loomproof_sim.plant.network import Solved

_LARGEST_A = 300.0
"""Only one-way elements that a current up to this can switch are watched."""
_GRID = np.concatenate([[0.0], np.geomspace(1e-3, 1.0, 40)])
_WORST_CONDITION = 1e9
CALMED = -2
"""Event: from here on the closed form serves."""
_CALM_EVERY = 40
"""Steps between two looks whether it does: a rest is integrated by many, and costs most of a long simulation."""


@dataclass(frozen=True, slots=True)
class Member:
    """One load of a system: its key, model, phase, and the place of its state in the state vector."""

    key: int
    load: Load
    phase: int
    at: int

    @property
    def part(self) -> slice:
        """The load's part of the state vector."""
        return slice(self.at, self.at + self.load.states)


class System:
    """Loads that carry current behind a network, or one load without current (`solved` is None)."""

    def __init__(self, members: Sequence[Member], solved: Solved | None, port: Sequence[int]) -> None:
        self.members = tuple(members)
        self.solved = solved
        self.port = np.array(port, dtype=int)
        self.free = solved is None
        self.size = sum(m.load.states for m in members)
        self.scale = tuple(s for m in members for s in m.load.scale())
        if solved is not None:
            self.open_v = solved.open_v[self.port]
            self.impedance = solved.impedance[np.ix_(self.port, self.port)]
            self._open = [float(v) for v in self.open_v]
            self._z = [[float(v) for v in row] for row in self.impedance]
        self._watch()
        self.linear = self._linear()

    # -- margins -------------------------------------------------------------------------------

    def _watch(self) -> None:
        """Collect the margins: first the guards of the loads, then the one-way elements within reach."""
        self.guards: list[tuple[int, int]] = []
        rows, offsets = [], []
        for n, m in enumerate(self.members):
            for k, g in enumerate(m.load.guards(m.phase, free=self.free)):
                row = np.zeros(self.size)
                row[m.part] = g.weights
                self.guards.append((n, k))
                rows.append(row)
                offsets.append(g.offset)
        self.guard_rows = np.array(rows) if rows else np.zeros((0, self.size))
        self.guard_offsets = np.array(offsets)
        self.one_ways = np.zeros(0, dtype=int)
        if self.solved is not None and len(self.port):
            reach = self.solved.margin_columns[:, self.port]
            near = self.solved.margin_base < _LARGEST_A * np.abs(reach).sum(axis=1)
            self.one_ways = np.flatnonzero(near)
            self.way_rows = reach[near]
            self.way_offsets = self.solved.margin_base[near] + self.solved.slack[near]
        self._guards_py = [
            (
                [(int(j), float(row[j])) for j in np.flatnonzero(row)],
                float(offset),
                1e-12 * (abs(float(offset)) + float(np.abs(row) @ np.array(self.scale))),
            )
            for row, offset in zip(self.guard_rows, self.guard_offsets, strict=True)
        ]
        if len(self.one_ways):
            self._ways_py = [
                ([float(v) for v in row], float(offset))
                for row, offset in zip(self.way_rows, self.way_offsets, strict=True)
            ]
        else:
            self._ways_py = []

    def worst(self, y: Sequence[float]) -> tuple[float, int]:
        """Return the lowest margin and its number; the slack is added, so a margin from 0 on is in order."""
        low, which = inf, -1
        for k, (terms, offset, slack) in enumerate(self._guards_py):
            margin = offset + slack
            for j, w in terms:
                margin += w * y[j]
            if margin < low:
                low, which = margin, k
        if self._ways_py:
            i = self.currents(y)
            base = len(self._guards_py)
            for k, (row, offset) in enumerate(self._ways_py):
                margin = offset
                for w, amp in zip(row, i, strict=True):
                    margin += w * amp
                if margin < low:
                    low, which = margin, base + k
        return low, which

    def margin(self, y: Sequence[float], which: int) -> float:
        """Return one margin."""
        if which < len(self._guards_py):
            terms, offset, slack = self._guards_py[which]
            return offset + slack + sum(w * y[j] for j, w in terms)
        row, offset = self._ways_py[which - len(self._guards_py)]
        return offset + sum(w * amp for w, amp in zip(row, self.currents(y), strict=True))

    # -- currents ------------------------------------------------------------------------------

    def currents(self, y: Sequence[float]) -> list[float]:
        """Return the port current of each member in A."""
        if self.free:
            return [0.0] * len(self.members)
        if len(self.members) == 1:
            m = self.members[0]
            if m.load.algebraic:
                return [self._open[0] / (self._z[0][0] + m.load.ohm(y))]
            return [m.load.current(y, m.phase)]
        out = [0.0 if m.load.algebraic else m.load.current(y[m.part], m.phase) for m in self.members]
        lamps = [k for k, m in enumerate(self.members) if m.load.algebraic]
        if lamps:
            self._add_lamps(out, lamps, y)
        return out

    def _add_lamps(self, out: list[float], lamps: list[int], y: Sequence[float]) -> None:
        z = np.array([[self._z[a][b] for b in lamps] for a in lamps])
        z += np.diag([self.members[k].load.ohm(y[self.members[k].part]) for k in lamps])
        v = [self._open[k] - sum(z_kj * i for z_kj, i in zip(self._z[k], out, strict=True)) for k in lamps]
        for k, amp in zip(lamps, np.linalg.solve(z, np.array(v)), strict=True):
            out[k] = float(amp)

    def currents_many(self, states: Array) -> Array:
        """Return the port currents (rows: times, columns: members)."""
        out = np.zeros((len(states), len(self.members)))
        if self.free:
            return out
        lamps = [k for k, m in enumerate(self.members) if m.load.algebraic]
        for k, m in enumerate(self.members):
            if not m.load.algebraic:
                out[:, k] = m.load.current_many(states[:, m.part], m.phase)
        if len(lamps) == 1:
            (k,) = lamps
            ohm = self.members[k].load.ohm_many(states[:, self.members[k].part])
            out[:, k] = (self.open_v[k] - out @ self.impedance[k]) / (self.impedance[k, k] + ohm)
        elif lamps:
            for n, row in enumerate(states):
                out[n] = self.currents(row.tolist())
        return out

    # -- rates ---------------------------------------------------------------------------------

    def rate(self, y: Sequence[float]) -> Sequence[float]:
        """Return dy/dt."""
        if len(self.members) == 1:
            m = self.members[0]
            if self.free:
                return m.load.free_rate(y, m.phase)
            if m.load.algebraic:
                ohm = m.load.ohm(y)
                return m.load.rate(y, self._open[0] * ohm / (self._z[0][0] + ohm), m.phase)
            return m.load.rate(y, self._open[0] - self._z[0][0] * m.load.current(y, m.phase), m.phase)
        i = self.currents(y)
        out: list[float] = []
        volts = (self.open_v - self.impedance @ np.array(i)).tolist()
        for m, volt in zip(self.members, volts, strict=True):
            out.extend(m.load.rate(y[m.at : m.at + m.load.states], volt, m.phase))
        return out

    def calmed(self, y: Sequence[float]) -> dict[int, int] | None:
        """New phases by load, if with them the system can be solved in closed form from this state on."""
        phases = {m.key: m.load.quiet_phase(y[m.part], m.phase) for m in self.members}
        if all(phases[m.key] == m.phase for m in self.members):
            return None
        solvable = all(m.load.linear(phases[m.key], free=self.free) is not None for m in self.members)
        return phases if solvable else None

    def _linear(self) -> tuple[Array, Array] | None:
        forms = [m.load.linear(m.phase, free=self.free) for m in self.members]
        a, b, out = np.zeros((self.size, self.size)), np.zeros(self.size), np.zeros((len(forms), self.size))
        gain = np.zeros((self.size, len(forms)))
        for k, (m, form) in enumerate(zip(self.members, forms, strict=True)):
            if form is None:
                return None
            a[m.part, m.part] = form.a
            b[m.part] = form.c
            out[k, m.part] = form.out
            gain[m.part, k] = form.b
        if self.solved is not None:
            a -= gain @ self.impedance @ out
            b += gain @ self.open_v
        self.out = out
        return a, b


class Piece:
    """The trajectory from `t0` until the first event."""

    end_s: float | None = None
    """Time of the event; inf = there is none, None = not yet searched for."""
    event: int = -1

    def __init__(self, system: System, t0: float, y0: Sequence[float]) -> None:
        self.system, self.t0, self.y0 = system, t0, list(y0)

    def reach(self, t: float) -> bool:
        """Compute the piece up to `t`; return False if it ends before."""
        raise NotImplementedError

    def at(self, t: float) -> list[float]:
        """Return the state at a time within the piece."""
        raise NotImplementedError

    def at_many(self, times: Array) -> Array:
        """Return the states (rows) at times within the piece."""
        raise NotImplementedError


class LinearPiece(Piece):
    """y(t) = y0 + V diag((e^(λ dt) - 1)/λ) V⁻¹ (A y0 + b)."""

    def __init__(self, system: System, t0: float, y0: Sequence[float]) -> None:
        super().__init__(system, t0, y0)
        assert system.linear is not None
        a, b = system.linear
        self._y0 = np.array(self.y0)
        slope = a @ self._y0 + b
        if system.size == 0:
            self.end_s = inf
            return
        v: NDArray[np.inexact]
        self._w: NDArray[np.inexact]
        self._w, v = (a[0], np.eye(1)) if system.size == 1 else np.linalg.eig(a)
        if system.size > 2 and np.linalg.cond(v) > _WORST_CONDITION:
            raise np.linalg.LinAlgError("nearly defective")
        self._c = v * np.linalg.solve(v, slope.astype(v.dtype))

    def at_many(self, times: Array) -> Array:
        """Evaluate the closed form."""
        dt = np.asarray(times) - self.t0
        if self.system.size == 0:
            return np.zeros((len(dt), 0))
        return self._grow(dt)

    def _grow(self, dt: Array) -> Array:
        z = np.multiply.outer(dt, self._w)
        w = np.where(self._w == 0.0, 1.0, self._w)
        phi = np.where(self._w == 0.0, dt[:, None], np.expm1(z) / w)
        out: Array = self._y0 + (phi @ self._c.T).real
        return out

    def at(self, t: float) -> list[float]:
        """Evaluate the closed form."""
        if t <= self.t0:
            return list(self.y0)
        return [float(v) for v in self.at_many(np.array([t]))[0]]

    def reach(self, t: float) -> bool:
        """Find the first event, once."""
        if self.end_s is None:
            self._find_end()
        assert self.end_s is not None
        return t <= self.end_s

    def _find_end(self) -> None:
        s = self.system
        if not len(s.guard_rows) and not len(s.one_ways):
            self.end_s = inf
            return
        speeds = np.abs(self._w[self._w != 0.0])
        if not len(speeds):
            self.end_s = inf
            return
        slow = 40.0 / float(speeds.min())
        fast = 1e-3 / float(speeds.max())
        dt = np.concatenate([[0.0], np.geomspace(fast, slow, 90)])
        if np.iscomplexobj(self._w):
            dt = np.union1d(dt, np.linspace(0.0, 20.0 / float(speeds.min()), 400))
        y = self._grow(dt)
        margins = y @ s.guard_rows.T + s.guard_offsets + np.array([g[2] for g in s._guards_py])
        if len(s.one_ways):
            ways = (y @ s.out.T) @ s.way_rows.T + s.way_offsets
            margins = np.hstack([margins, ways])
        bad = (margins < 0.0).any(axis=1)
        if not bad.any():
            self.end_s = inf
            return
        k = int(np.argmax(bad))
        ends = [
            (0.0 if k == 0 else bisect_root(lambda d, w=w: s.margin(self._state(d), w), dt[k - 1], dt[k]), w)  # type: ignore[misc]
            for w in np.flatnonzero(margins[k] < 0.0)
        ]
        first, which = min(ends)
        self.end_s, self.event = self.t0 + float(first), int(which)

    def _state(self, dt: float) -> list[float]:
        return [float(v) for v in self._grow(np.array([dt]))[0]]


class IntegratedPiece(Piece):
    """A piece that is integrated adaptively, step by step as far as it is asked for."""

    def __init__(self, system: System, t0: float, y0: Sequence[float]) -> None:
        super().__init__(system, t0, y0)
        self._run = Integrator(system.rate, self.y0, system.scale)

    def reach(self, t: float) -> bool:
        """Step until `t` or the first event."""
        run, s = self._run, self.system
        while self.end_s is None and self.t0 + run.t < t:
            step = run.advance()
            low, which = s.worst(step.y1)
            if low < 0.0:
                self._locate(step.t0, step.t0 + step.h, which)
            elif len(run.steps) % _CALM_EVERY == 0 and s.calmed(step.y1) is not None:
                self.end_s, self.event = self.t0 + run.t, CALMED
        return self.end_s is None or t <= self.end_s

    def _locate(self, good: float, bad: float, which: int) -> None:
        """Find the earliest event within a step, which may hold several."""
        run, s = self._run, self.system
        for _ in range(20):
            step = run.step_at(good)
            end = bisect_root(lambda u, w=which, step=step: s.margin(step.at(u), w), good, bad)  # type: ignore[misc]
            self.end_s, self.event = self.t0 + end, which
            low, other = s.worst(step.at(end - 1e-13)) if end - 1e-13 > good else (0.0, which)
            if low >= 0.0 or other == which:
                return
            bad, which = end, other

    def at(self, t: float) -> list[float]:
        """Evaluate the dense output."""
        if t <= self.t0:
            return list(self.y0)
        return self._run.step_at(t - self.t0).at(t - self.t0)

    def at_many(self, times: Array) -> Array:
        """Evaluate the dense output."""
        if not self._run.steps:
            return np.tile(np.array(self.y0), (len(times), 1))
        return self._run.at_many(np.asarray(times) - self.t0)


def make_piece(system: System, t0: float, y0: Sequence[float]) -> Piece:
    """Return the piece in closed form where the system is linear, otherwise an integrated one."""
    if system.linear is not None:
        try:
            return LinearPiece(system, t0, y0)
        except np.linalg.LinAlgError:
            pass
    return IntegratedPiece(system, t0, y0)
