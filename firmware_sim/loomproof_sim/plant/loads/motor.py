"""A brushed DC motor: L di/dt = v - R i - K w, J dw/dt = K i - B w (textbook, armature-controlled).

Linear, so in closed form. The load torque is proportional to speed; brushes, cogging, dry friction, the stop
and the spring of a throttle are left out.
"""

import numpy as np

from loomproof.job.load_traits import REFERENCE_V
from loomproof_sim.plant.loads.base import Array, LinearForm, Load, State
from loomproof_sim.plant.spec import MotorSpec

_MOVED_SHARE = 0.02


class Motor(Load):
    """State: current in A, speed in rad/s."""

    states = 2

    def __init__(self, spec: MotorSpec, resistance_ohm: float) -> None:
        left = 1.0 - spec.shorted_fraction  # fewer turns make torque and emf
        self.static_ohm = resistance_ohm * left
        self.inductance_h = spec.inductance_h * left * left
        self.k = spec.emf_constant_v_s * left
        self.inertia = spec.inertia_kg_m2
        self.friction = spec.friction_n_m_s
        self.stuck = spec.stuck

    def linear(self, phase: int, *, free: bool) -> LinearForm:
        """Linear always."""
        turn = 0.0 if self.stuck else 1.0
        row_w = [0.0 if free else turn * self.k / self.inertia, -turn * self.friction / self.inertia]
        row_i = [0.0, 0.0] if free else [-self.static_ohm / self.inductance_h, -self.k / self.inductance_h]
        b = np.array([0.0 if free else 1.0 / self.inductance_h, 0.0])
        return LinearForm(np.array([row_i, row_w]), b, np.zeros(2), np.array([0.0 if free else 1.0, 0.0]))

    def current(self, state: State, phase: int) -> float:
        """The first state."""
        return state[0]

    def current_many(self, states: Array, phase: int) -> Array:
        """The first column."""
        return states[:, 0]

    def rate(self, state: State, volt: float, phase: int) -> list[float]:
        """The equations above."""
        i, w = state
        di = (volt - self.static_ohm * i - self.k * w) / self.inductance_h
        return [di, 0.0 if self.stuck else (self.k * i - self.friction * w) / self.inertia]

    def free_rate(self, state: State, phase: int) -> list[float]:
        """Running down."""
        return [0.0, 0.0 if self.stuck else -self.friction * state[1] / self.inertia]

    def free_state(self, state: State) -> list[float]:
        """No current, same speed."""
        return [0.0, state[1]]

    def nudged(self, state: State, phase: int, amp: float) -> list[float]:
        """That current, same speed."""
        return [amp, state[1]]

    def is_rest(self, state: State, phase: int) -> bool:
        """Under a ten-thousandth of a volt of back-EMF."""
        return abs(self.emf(state)) < 1e-4 and state[0] == 0.0

    def scale(self) -> tuple[float, ...]:
        """1 A; the speed of 1 V."""
        return (1.0, 1.0 / self.k)

    def emf(self, state: State) -> float:
        """Back-EMF."""
        return self.k * state[1]

    def magnetic_j(self, state: State, phase: int) -> float:
        """Half L i²."""
        return 0.5 * self.inductance_h * state[0] ** 2

    def mechanical_j(self, state: State) -> float:
        """Half J w²."""
        return 0.5 * self.inertia * state[1] ** 2

    def friction_w(self, state: State) -> float:
        """What the load takes."""
        return self.friction * state[1] ** 2

    def travel(self, state: State) -> float:
        """Back-EMF over the reference voltage."""
        return self.emf(state) / REFERENCE_V

    def has_moved(self, state: State, phase: int) -> bool:
        """It turns."""
        return abs(self.travel(state)) > _MOVED_SHARE
