"""A winding that moves an armature or plunger: injectors, relays, solenoid valves.

v = R i + L(x) di/dt + i (dL/dx) (dx/dt)   (Ribbens, Understanding Automotive Electronics, eq. 5.133)
written with the flux linkage λ = L(x) i:  dλ/dt = v - R i.  x runs from 0 (rest) to 1 (far stop) and the
reluctance falls linearly with it: 1/L(x) = (1 + g (1 - x)) / Lc, with Lc = (1 + g) L(0). Then the pull is
-dW/dx = λ² g / (2 Lc), the same all along the stroke for a given flux, and energy is conserved exactly. M x''
= pull - F (1 + s x) - d x', between stops that swallow the impact (no bounce). F is set by the pull-in
current, and M by the opening time. On either stop the load is a plain R-L circuit, so only the flight is
integrated numerically.
"""

from functools import cached_property
from math import exp, inf, log, sqrt

import numpy as np

from loomproof.job.load_traits import REFERENCE_V
from loomproof_sim.plant.integrate import integrate_until
from loomproof_sim.plant.loads.base import Array, Guard, LinearForm, Load, State
from loomproof_sim.plant.loads.winding import shorted
from loomproof_sim.plant.spec import MovingSpec

SEATED, FLIGHT, LANDED, LANDED_REVERSED = 0, 1, 2, 3
"""Phases; a current the other way round holds the armature as well, with negative flux."""
_FREE_OFFSETS = {SEATED: 0.0, LANDED: 1.0, LANDED_REVERSED: 1.0}


class Armature(Load):
    """States: λ (Vs), x, dx/dt; with shorted turns the terminal current (A) in front of them."""

    def __init__(self, spec: MovingSpec, resistance_ohm: float) -> None:
        self.gain = spec.stroke_gain
        self.spring = spec.spring_ratio
        self.stuck = spec.stuck
        self._spec = spec
        self.ring = (
            shorted(resistance_ohm, spec.inductance_h, spec.shorted_fraction)
            if spec.shorted_fraction
            else None
        )
        rest_h = self.ring.main_h if self.ring else spec.inductance_h
        self.static_ohm = self.ring.resistance_ohm if self.ring else resistance_ohm
        self.far_h = rest_h * (1.0 + self.gain)
        pull_in_a = spec.pull_in_a / (self.ring.turns_left if self.ring else 1.0)
        self.pull_in_vs = rest_h * pull_in_a
        self.hold_vs = self.pull_in_vs * sqrt(1.0 + self.spring)
        self.preload_j = self.pull_in_vs**2 * self.gain / (2.0 * self.far_h)
        self.at = 1 if self.ring else 0  # index of λ
        self.states = self.at + 3

    @cached_property
    def mass(self) -> float:
        """Moving mass times stroke squared, in J s²: found from the opening time of the sound winding."""
        spec = self._spec
        far_h = spec.inductance_h * (1.0 + spec.stroke_gain)
        pull_in_vs = spec.inductance_h * spec.pull_in_a
        return pull_in_vs**2 * spec.stroke_gain / (2.0 * far_h) / _acceleration(spec)

    @cached_property
    def damping(self) -> float:
        """Friction in J s."""
        return 2.0 * self._spec.damping_ratio * sqrt(self.mass * self.preload_j * max(self.spring, 0.05))

    def _inductance(self, x: float) -> float:
        return self.far_h / (1.0 + self.gain * (1.0 - x))

    @property
    def snaps(self) -> bool:
        """Shorted turns keep flux without terminal current."""
        return self.ring is None

    def linear(self, phase: int, *, free: bool) -> LinearForm | None:
        """On the stops; in flight only without current."""
        if phase == FLIGHT and not free:
            return None
        n, k = self.states, self.at
        a, b, c, out = np.zeros((n, n)), np.zeros(n), np.zeros(n), np.zeros(n)
        if phase == FLIGHT:
            a[k + 1, k + 2] = 1.0
            a[k + 2, k + 1 : k + 3] = -self.preload_j * self.spring / self.mass, -self.damping / self.mass
            c[k + 2] = -self.preload_j / self.mass
        elif not free:
            inverse_h = 1.0 / self._inductance(_FREE_OFFSETS[phase])
            if self.ring is None:
                a[0, 0], b[0], out[0] = -self.static_ohm * inverse_h, 1.0, inverse_h
            else:
                leak, ring = self.ring.leakage_h, self.ring.ring_ohm
                a[0, :2] = -(self.static_ohm + ring) / leak, ring * inverse_h / leak
                a[1, :2] = ring, -ring * inverse_h
                b[0], out[0] = 1.0 / leak, 1.0
        return LinearForm(a, b, c, out)

    def current(self, state: State, phase: int) -> float:
        """λ / L(x), or the state in front of shorted turns."""
        if self.ring is not None:
            return state[0]
        return state[0] * (1.0 + self.gain * (1.0 - state[1])) / self.far_h

    def current_many(self, states: Array, phase: int) -> Array:
        """`current` for rows."""
        if self.ring is not None:
            return states[:, 0]
        out: Array = states[:, 0] * (1.0 + self.gain * (1.0 - states[:, 1])) / self.far_h
        return out

    def rate(self, state: State, volt: float, phase: int) -> list[float]:
        """The equations above."""
        if self.ring is None:
            flux, x, speed = state
            d = [volt - self.static_ohm * flux * (1.0 + self.gain * (1.0 - x)) / self.far_h]
        else:
            i, flux, x, speed = state
            ring_v = self.ring.ring_ohm * (i - flux * (1.0 + self.gain * (1.0 - x)) / self.far_h)
            d = [(volt - self.static_ohm * i - ring_v) / self.ring.leakage_h, ring_v]
        if phase != FLIGHT:
            return [*d, 0.0, 0.0]
        pull = flux * flux * self.gain / (2.0 * self.far_h)
        force = pull - self.preload_j * (1.0 + self.spring * x) - self.damping * speed
        return [*d, speed, force / self.mass]

    def free_rate(self, state: State, phase: int) -> list[float]:
        """The spring alone."""
        d = [0.0] * self.states
        if phase == FLIGHT:
            x, speed = state[-2], state[-1]
            d[-2] = speed
            d[-1] = -(self.preload_j * (1.0 + self.spring * x) + self.damping * speed) / self.mass
        return d

    def free_state(self, state: State) -> list[float]:
        """No flux, same place and speed."""
        return [0.0] * (self.at + 1) + [state[-2], state[-1]]

    def nudged(self, state: State, phase: int, amp: float) -> list[float]:
        """The flux of a current, same place and speed."""
        front = [amp] if self.ring is not None else []
        return [*front, amp * self._inductance(state[-2]), state[-2], state[-1]]

    def _guard(self, index: int, weight: float, offset: float) -> Guard:
        weights = [0.0] * self.states
        weights[index] = weight
        return Guard(tuple(weights), offset)

    def guards(self, phase: int, *, free: bool) -> tuple[Guard, ...]:
        """Pull-in, the two stops, drop-out."""
        k = self.at
        if phase == SEATED:
            if self.stuck or free:
                return ()
            return (self._guard(k, -1.0, self.pull_in_vs), self._guard(k, 1.0, self.pull_in_vs))
        if phase == FLIGHT:
            return (self._guard(k + 1, -1.0, 1.0), self._guard(k + 1, 1.0, 0.0))
        return (self._guard(k, -1.0 if phase == LANDED_REVERSED else 1.0, -self.hold_vs),)

    def cross(self, state: State, phase: int, guard: int) -> tuple[list[float], int]:
        """Stops swallow the speed."""
        y = list(state)
        if phase == FLIGHT:
            y[-1] = 0.0
            y[-2], phase = (1.0, LANDED) if guard == 0 else (0.0, SEATED)
            if phase == LANDED and abs(y[self.at]) < self.hold_vs:
                phase = FLIGHT  # carried to the stop by its speed; the spring takes it back
            elif phase == LANDED and y[self.at] < 0.0:
                phase = LANDED_REVERSED
            elif phase == SEATED and abs(y[self.at]) > self.pull_in_vs:
                phase = FLIGHT
            return y, phase
        return y, FLIGHT

    def scale(self) -> tuple[float, ...]:
        """Pull-in flux, stroke, stroke per millisecond-like flight."""
        speed = sqrt(2.0 * self.preload_j / self.mass)
        flux = self.pull_in_vs
        i = (self.pull_in_vs / self.far_h,) if self.ring is not None else ()
        return (*i, flux, 1.0, speed)

    def magnetic_j(self, state: State, phase: int) -> float:
        """λ² / 2L(x), and the leakage field."""
        energy = state[self.at] ** 2 / (2.0 * self._inductance(state[-2]))
        if self.ring is not None:
            energy += 0.5 * self.ring.leakage_h * state[0] ** 2
        return energy

    def mechanical_j(self, state: State) -> float:
        """Kinetic and spring energy."""
        x, speed = state[-2], state[-1]
        if x == 0.0 and speed == 0.0:
            return 0.0
        return 0.5 * self.mass * speed * speed + self.preload_j * (x + 0.5 * self.spring * x * x)

    def friction_w(self, state: State) -> float:
        """Of the moving part, and heat in shorted turns."""
        power = self.damping * state[-1] ** 2 if state[-1] else 0.0
        if self.ring is not None:
            power += self.ring.ring_ohm * (state[0] - state[1] / self._inductance(state[-2])) ** 2
        return power

    def travel(self, state: State) -> float:
        """The place x itself."""
        return state[-2]

    def has_moved(self, state: State, phase: int) -> bool:
        """At the far stop."""
        return phase in (LANDED, LANDED_REVERSED) or state[-2] >= 1.0


def _opening_s(spec: MovingSpec, acceleration: float, limit_s: float) -> float:
    """Time from switch-on to the far stop for a unit-excess acceleration (1/s²); inf if it never arrives."""
    r, g, s = spec.resistance_ohm, spec.stroke_gain, spec.spring_ratio
    far_h = spec.inductance_h * (1.0 + g)
    pull_in_vs = spec.inductance_h * spec.pull_in_a
    damping = 2.0 * spec.damping_ratio * sqrt(acceleration * max(s, 0.05))
    start_s = -spec.inductance_h / r * log(1.0 - spec.pull_in_a * r / REFERENCE_V)

    def rhs(y: State) -> list[float]:
        flux, x, speed = y
        ratio = flux / pull_in_vs
        return [
            REFERENCE_V - r * flux * (1.0 + g * (1.0 - x)) / far_h,
            speed,
            acceleration * (ratio * ratio - 1.0 - s * x) - damping * speed,
        ]

    scale = (pull_in_vs, 1.0, sqrt(2.0 * acceleration))
    end = integrate_until(rhs, [pull_in_vs, 0.0, 0.0], scale, lambda y: 1.0 - y[1], limit_s, rtol=1e-6)
    return inf if end is None else start_s + end


def _acceleration(spec: MovingSpec) -> float:
    """Acceleration (strokes per s²) at a pull of twice the preload, so that the stroke ends at `opening_s`.

    An opening time too short for the winding's own rise is met as nearly as can be.
    """
    r = spec.resistance_ohm
    if spec.pull_in_a * r >= REFERENCE_V:
        raise ValueError(f"pull-in at {spec.pull_in_a} A needs more than {REFERENCE_V} V through {r} ohm")
    flight_s = max(
        spec.opening_s + spec.inductance_h / r * log(1.0 - spec.pull_in_a * r / REFERENCE_V),
        0.05 * spec.opening_s,
    )
    low, high = log(0.02 / flight_s**2), log(1e5 / flight_s**2)
    for _ in range(40):
        middle = 0.5 * (low + high)
        if _opening_s(spec, exp(middle), 4.0 * spec.opening_s) > spec.opening_s:
            low = middle
        else:
            high = middle
        if high - low < 1e-4:
            break
    return exp(high)
