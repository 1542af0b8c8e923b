"""What the solver asks of a load: states, phases, rates, guards, energies.

A load is a two-terminal element. In each phase (an armature on its stop, in flight, ...) its state
obeys dy/dt = f(y, v), and its current is a function of the state. Where f is linear it says so, and the
solver uses the closed form. A load that carries no current is `free`: only its mechanics or heat goes on.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
State = Sequence[float]


class Guard(NamedTuple):
    """A margin `weights @ y + offset` that stays >= 0 while the phase lasts."""

    weights: tuple[float, ...]
    offset: float


@dataclass(frozen=True, slots=True)
class LinearForm:
    """dy/dt = a @ y + b * v + c, current = out @ y."""

    a: Array
    b: Array
    c: Array
    out: Array


class Load:
    """Base of all load models; one instance per fitted load, without any time of its own."""

    states: int
    static_ohm: float
    """What it looks like to direct current (a cold lamp, a resting motor)."""
    algebraic = False
    """True if the current follows the voltage at once (a resistance that depends on the state)."""

    @property
    def snaps(self) -> bool:
        """No current means no flux (not so with shorted turns)."""
        return True

    def rest(self) -> list[float]:
        """State with no current, cold, nothing moving."""
        return [0.0] * self.states

    def first_phase(self) -> int:
        """Phase of the state `rest()`."""
        return 0

    def is_rest(self, state: State, phase: int) -> bool:
        """Nothing left that would change with no current."""
        return phase == self.first_phase() and all(s == 0.0 for s in state)

    def linear(self, phase: int, *, free: bool) -> LinearForm | None:
        """The closed form of a phase, or None if it has none."""
        raise NotImplementedError

    def quiet_phase(self, state: State, phase: int) -> int:
        """The phase that describes this state in closed form, where there is one beside its own."""
        return phase

    def current(self, state: State, phase: int) -> float:
        """Current in A (not for algebraic loads)."""
        raise NotImplementedError

    def current_many(self, states: Array, phase: int) -> Array:
        """`current` for rows of states."""
        raise NotImplementedError

    def ohm(self, state: State) -> float:
        """Present resistance of an algebraic load."""
        raise NotImplementedError

    def ohm_many(self, states: Array) -> Array:
        """`ohm` for rows of states."""
        raise NotImplementedError

    def rate(self, state: State, volt: float, phase: int) -> Sequence[float]:
        """dy/dt with `volt` across the terminals."""
        raise NotImplementedError

    def free_rate(self, state: State, phase: int) -> Sequence[float]:
        """dy/dt with no current."""
        raise NotImplementedError

    def free_state(self, state: State) -> list[float]:
        """The state with its current gone."""
        raise NotImplementedError

    def nudged(self, state: State, phase: int, amp: float) -> list[float]:
        """The state with a small current instead of none."""
        raise NotImplementedError

    def guards(self, phase: int, *, free: bool) -> tuple[Guard, ...]:
        """Margins that end the phase when they go negative."""
        return ()

    def cross(self, state: State, phase: int, guard: int) -> tuple[list[float], int]:
        """The state and phase after a guard went negative."""
        raise NotImplementedError

    def scale(self) -> tuple[float, ...]:
        """Size of each state, for the integrator's error control."""
        raise NotImplementedError

    def emf(self, state: State) -> float:
        """Voltage that the load makes with no current (a turning motor)."""
        return 0.0

    def magnetic_j(self, state: State, phase: int) -> float:
        """Energy in the magnetic field."""
        return 0.0

    def mechanical_j(self, state: State) -> float:
        """Kinetic and spring energy."""
        return 0.0

    def friction_w(self, state: State) -> float:
        """Power lost to friction and driven loads."""
        return 0.0

    def travel(self, state: State) -> float:
        """0 at rest, 1 at the far stop (armatures); share of no-load speed (motors)."""
        return 0.0

    def has_moved(self, state: State, phase: int) -> bool:
        """The moving part has got where it goes."""
        return False
