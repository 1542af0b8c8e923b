"""Adaptive Runge-Kutta (Dormand-Prince 5(4)) with dense output, on plain Python floats.

The tableau is scipy's own (`scipy.integrate.RK45`). scipy's solver spends most of a small system's time in array
overhead; this one is some twenty times faster on the two to six states that occur here. A test compares the
two.

A loom at rest with a fast and a slow part (two windings over one bad joint) is stiff: an explicit method then
advances at the pace of the fast part for as long as the rest lasts. After many small steps scipy's implicit
`Radau` takes over, which lengthens its steps as the loom comes to rest.
"""

from bisect import bisect_right
from collections.abc import Callable, Sequence
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import RK45, Radau

Array = NDArray[np.float64]
Rhs = Callable[[Sequence[float]], Sequence[float]]

RTOL = 1e-7
STIFF_AFTER = 4000
"""Explicit steps after which a system counts as stiff. A driven load takes hundreds."""
_MAX_GROWTH, _MIN_SHRINK, _SAFETY = 5.0, 0.2, 0.9
_A = tuple(tuple(float(v) for v in row[:k]) for k, row in enumerate(RK45.A))
_B = tuple(float(v) for v in RK45.B)
_E = tuple(float(v) for v in RK45.E)
_P = np.array(RK45.P, dtype=np.float64)
_MANY = 8
"""States from which on array arithmetic is faster than plain floats."""
_A_ROWS = tuple(np.array(row) for row in _A)
_B_ROW, _E_ROW = np.array(_B), np.array(_E)
_P_ROWS = tuple(tuple(float(v) for v in row) for row in _P)


class RungeKuttaStep:
    """One accepted step from `t0` over `h`, with its dense output."""

    __slots__ = ("_q", "h", "k", "t0", "y0", "y1")

    def __init__(
        self, t0: float, h: float, y0: list[float], y1: list[float], k: list[Sequence[float]]
    ) -> None:
        self.t0, self.h, self.y0, self.y1, self.k = t0, h, y0, y1, k
        self._q: Array | None = None

    def at(self, t: float) -> list[float]:
        """Return the state at a time within the step."""
        if len(self.y0) >= _MANY:
            out: list[float] = self.at_many(np.array([t]))[0].tolist()
            return out
        u = (t - self.t0) / self.h
        w = [self.h * u * (p[0] + u * (p[1] + u * (p[2] + u * p[3]))) for p in _P_ROWS]
        return [y + sum(wj * kj[j] for wj, kj in zip(w, self.k, strict=True)) for j, y in enumerate(self.y0)]

    def at_many(self, t: Array) -> Array:
        """Return the states (rows) at times within the step."""
        if self._q is None:
            self._q = np.array(self.k).T @ _P
        u = (t - self.t0) / self.h
        powers = np.vstack([u, u**2, u**3, u**4])
        out: Array = np.array(self.y0) + self.h * (self._q @ powers).T
        return out


class ImplicitStep(RungeKuttaStep):
    """One step of the implicit solver, with that solver's dense output."""

    __slots__ = ("_dense", "_offset")

    def __init__(self, solver: Radau, offset: float) -> None:
        t0 = float(solver.t_old) + offset
        y1 = [float(v) for v in solver.y]
        self._dense, self._offset = solver.dense_output(), offset
        y0 = [float(v) for v in self._dense(float(solver.t_old))]
        super().__init__(t0, float(solver.t) + offset - t0, y0, y1, [])

    def at(self, t: float) -> list[float]:
        """Return the state at a time within the step."""
        return [float(v) for v in self._dense(t - self._offset)]

    def at_many(self, t: Array) -> Array:
        """Return the states (rows) at times within the step."""
        out: Array = self._dense(t - self._offset).T
        return out


def try_step(
    rhs: Rhs, y: list[float], f0: Sequence[float], h: float
) -> tuple[list[float], list[Sequence[float]]]:
    """Take one step without error control and return the new state and the seven slopes.

    Args:
        rhs: gives the slope at a state.
        y: the state before the step.
        f0: the slope there.
        h: the step size in s.
    """
    if len(y) >= _MANY:
        return _try_large_step(rhs, y, f0, h)
    k: list[Sequence[float]] = [f0]
    n = range(len(y))
    for row in _A[1:]:
        k.append(rhs([y[j] + h * sum(a * kk[j] for a, kk in zip(row, k, strict=True)) for j in n]))
    y1 = [y[j] + h * sum(b * kk[j] for b, kk in zip(_B, k, strict=True)) for j in n]
    k.append(rhs(y1))
    return y1, k


def _try_large_step(
    rhs: Rhs, y: list[float], f0: Sequence[float], h: float
) -> tuple[list[float], list[Sequence[float]]]:
    """`try_step` for many states."""
    start, slopes = np.array(y), np.empty((7, len(y)))
    slopes[0] = f0
    for n, row in enumerate(_A_ROWS[1:], 1):
        slopes[n] = rhs((start + h * (row @ slopes[:n])).tolist())
    y1 = (start + h * (_B_ROW @ slopes[:6])).tolist()
    slopes[6] = rhs(y1)
    return y1, list(slopes)


class Integrator:
    """The steps of one autonomous smooth system, taken as needed and kept."""

    def __init__(
        self,
        rhs: Rhs,
        y0: Sequence[float],
        scale: Sequence[float],
        *,
        rtol: float = RTOL,
        first_h: float = 0.0,
    ) -> None:
        self._rhs = rhs
        self._scale = scale
        self._rtol = rtol
        self.steps: list[RungeKuttaStep] = []
        self._starts: list[float] = []
        self._y = list(y0)
        self._f = rhs(self._y)
        self.t = 0.0
        self._h = first_h or self._first_step()
        self._implicit: Radau | None = None

    def _first_step(self) -> float:
        rate = max(abs(f) / s for f, s in zip(self._f, self._scale, strict=True))
        return min(0.01 / rate, 1e-3) if rate > 0.0 else 1e-5

    def advance(self) -> RungeKuttaStep:
        """Take one accepted step."""
        if len(self.steps) >= STIFF_AFTER:
            return self._keep(self._advance_implicitly(), self._f)
        y = self._y
        while True:
            h = self._h
            y1, k = try_step(self._rhs, y, self._f, h)
            error = self._error(y, y1, k, h)
            if error < 1.0:
                grow = _MAX_GROWTH if error == 0.0 else min(_MAX_GROWTH, _SAFETY * error**-0.2)
                self._h = h * max(grow, _MIN_SHRINK)
                break
            self._h = h * max(_MIN_SHRINK, _SAFETY * error**-0.2) if error < 1e300 else h * _MIN_SHRINK
            if self._h < 1e-15:
                raise ArithmeticError("the step size fell to nothing: the load's equations are inconsistent")
        return self._keep(RungeKuttaStep(self.t, h, y, y1, k), k[-1])

    def _error(self, y: list[float], y1: list[float], k: list[Sequence[float]], h: float) -> float:
        """The step's error over what is allowed, root mean square over the states."""
        if len(y) >= _MANY:
            off = h * (_E_ROW @ np.array(k)) / self._rtol
            off /= np.asarray(self._scale) + np.maximum(np.abs(y), np.abs(y1))
            return sqrt(float(off @ off) / len(y))
        total = 0.0
        for j, s in enumerate(self._scale):
            e = h * sum(c * kk[j] for c, kk in zip(_E, k, strict=True))
            e /= self._rtol * (s + max(abs(y[j]), abs(y1[j])))
            total += e * e
        return sqrt(total / len(y))

    def _advance_implicitly(self) -> RungeKuttaStep:
        if self._implicit is None:
            atol = self._rtol * np.asarray(self._scale)
            self._implicit = Radau(
                lambda t, y: np.asarray(self._rhs([float(v) for v in y])),
                0.0, np.asarray(self._y), np.inf, rtol=self._rtol, atol=atol,  # type: ignore[arg-type] # one for each state, as scipy takes it
 first_step=self._h,
            )  # fmt: skip
            self._implicit_from = self.t
        message = self._implicit.step()
        if self._implicit.status == "failed":
            raise ArithmeticError(f"the load's equations are inconsistent: {message}")
        return ImplicitStep(self._implicit, self._implicit_from)

    def _keep(self, step: RungeKuttaStep, slope: Sequence[float]) -> RungeKuttaStep:
        self.steps.append(step)
        self._starts.append(step.t0)
        self.t = step.t0 + step.h
        self._y, self._f = step.y1, slope
        return step

    def step_at(self, t: float) -> RungeKuttaStep:
        """Return the step that covers a time already reached."""
        return self.steps[max(0, bisect_right(self._starts, t) - 1)]

    def at_many(self, times: Array) -> Array:
        """Return the states (rows) at times already reached."""
        if not len(times):
            return np.empty((0, len(self._y)))
        first = max(0, bisect_right(self._starts, float(times.min())) - 1)
        starts = np.array(self._starts[first : bisect_right(self._starts, float(times.max()))])
        which = first + np.maximum(np.searchsorted(starts, times, side="right") - 1, 0)
        out = np.empty((len(times), len(self._y)))
        for index in np.unique(which):
            mask = which == index
            out[mask] = self.steps[index].at_many(times[mask])
        return out


def bisect_root(margin: Callable[[float], float], good: float, bad: float) -> float:
    """Return the time at which a margin turns negative between a good and a bad time, to rounding."""
    for _ in range(80):
        middle = 0.5 * (good + bad)
        if middle in (good, bad):
            break
        if margin(middle) >= 0.0:
            good = middle
        else:
            bad = middle
        if bad - good < 1e-13:
            break
    return bad


def integrate_until(
    rhs: Rhs, y0: Sequence[float], scale: Sequence[float], margin: Callable[[Sequence[float]], float],
    limit_s: float, *, rtol: float = RTOL,
) -> float | None:  # fmt: skip
    """Return the time at which a margin first goes negative, or None if it does not within the limit.

    Args:
        rhs: gives the slope at a state.
        y0: the first state.
        scale: typical size of each state variable, for the error control.
        margin: the margin of a state.
        limit_s: where to give up.
        rtol: relative error of a step.
    """
    run = Integrator(rhs, y0, scale, rtol=rtol)
    while run.t < limit_s:
        step = run.advance()
        if margin(step.y1) < 0.0:
            return bisect_root(lambda t, step=step: margin(step.at(t)), step.t0, step.t0 + step.h)  # type: ignore[misc]
    return None
