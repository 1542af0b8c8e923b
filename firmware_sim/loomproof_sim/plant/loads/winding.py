"""A plain winding, sound or with shorted turns.

Sound: L di/dt = v - R i.
With a share f of its turns shorted on themselves, the rest is a transformer loaded by that ring. Referred
to the (1 - f) N turns left: R(1-f), L(1-f)², ring resistance f R ((1-f)/f)², and a leakage inductance
`LEAKAGE_SHARE` of the whole in front, so the current stays continuous (textbook transformer equivalent
circuit).
"""

from typing import NamedTuple

import numpy as np

from loomproof_sim.plant.loads.base import Array, LinearForm, Load, State

LEAKAGE_SHARE = 0.08
"""Leakage of the shorted ring over the whole inductance: a guess within what tightly wound coils show."""


class Ring(NamedTuple):
    """A winding with shorted turns, referred to the turns that are left."""

    resistance_ohm: float
    leakage_h: float
    main_h: float
    ring_ohm: float
    turns_left: float


def shorted(resistance_ohm: float, inductance_h: float, fraction: float) -> Ring:
    """Equivalent circuit with `fraction` (0..1, exclusive) of the turns shorted."""
    if not 0.0 < fraction < 1.0:
        raise ValueError(f"shorted_fraction must lie between 0 and 1, not {fraction}")
    left = 1.0 - fraction
    whole = inductance_h * left * left
    return Ring(
        resistance_ohm * left,
        LEAKAGE_SHARE * whole,
        (1.0 - LEAKAGE_SHARE) * whole,
        resistance_ohm * left * left / fraction,
        left,
    )


class Winding(Load):
    """R and L; state: current in A (and, with shorted turns, main flux linkage in Vs)."""

    def __init__(
        self, resistance_ohm: float, inductance_h: float, fraction: float, step_current_a: float | None
    ) -> None:
        self.ring = shorted(resistance_ohm, inductance_h, fraction) if fraction else None
        self.static_ohm = self.ring.resistance_ohm if self.ring else resistance_ohm
        self.inductance_h = inductance_h
        self.step_current_a = step_current_a
        self.states = 2 if self.ring else 1
        self._form = self._linear()

    def _linear(self) -> LinearForm:
        if self.ring is None:
            a, b = [[-self.static_ohm / self.inductance_h]], [1.0 / self.inductance_h]
        else:
            r, leak, main, ring = self.ring[:4]
            a = [[-(r + ring) / leak, ring / main / leak], [ring, -ring / main]]
            b = [1.0 / leak, 0.0]
        n = self.states
        return LinearForm(np.array(a), np.array(b), np.zeros(n), np.eye(n)[0])

    @property
    def snaps(self) -> bool:
        """Shorted turns keep flux without terminal current."""
        return self.ring is None

    def linear(self, phase: int, *, free: bool) -> LinearForm:
        """Linear always."""
        if free:
            n = self.states
            return LinearForm(np.zeros((n, n)), np.zeros(n), np.zeros(n), np.zeros(n))
        return self._form

    def current(self, state: State, phase: int) -> float:
        """The first state."""
        return state[0]

    def current_many(self, states: Array, phase: int) -> Array:
        """The first column."""
        return states[:, 0]

    def rate(self, state: State, volt: float, phase: int) -> list[float]:
        """The textbook equations."""
        if self.ring is None:
            return [(volt - self.static_ohm * state[0]) / self.inductance_h]
        r, leak, main, ring, _ = self.ring
        ring_v = ring * (state[0] - state[1] / main)
        return [(volt - r * state[0] - ring_v) / leak, ring_v]

    def free_rate(self, state: State, phase: int) -> list[float]:
        """Nothing goes on without current."""
        return [0.0] * self.states

    def free_state(self, state: State) -> list[float]:
        """No current, no flux."""
        return [0.0] * self.states

    def nudged(self, state: State, phase: int, amp: float) -> list[float]:
        """Current, and its flux."""
        return [amp] if self.ring is None else [amp, amp * self.ring.main_h]

    def scale(self) -> tuple[float, ...]:
        """1 A, and the flux of 1 A."""
        return (1.0, self.inductance_h)[: self.states]

    def magnetic_j(self, state: State, phase: int) -> float:
        """Half L i²."""
        if self.ring is None:
            return 0.5 * self.inductance_h * state[0] ** 2
        return 0.5 * self.ring.leakage_h * state[0] ** 2 + 0.5 * state[1] ** 2 / self.ring.main_h

    def friction_w(self, state: State) -> float:
        """Heat in the shorted ring."""
        if self.ring is None:
            return 0.0
        return self.ring.ring_ohm * (state[0] - state[1] / self.ring.main_h) ** 2

    def has_moved(self, state: State, phase: int) -> bool:
        """A stepper's rotor follows once the winding's current passes `step_current_a`."""
        return self.step_current_a is not None and abs(state[0]) >= self.step_current_a
