"""An ignition coil's primary, saturating.

di/dt = (v - R i) / L(i), with the differential inductance L(i) = Ls + (L0 - Ls)/cosh²(i/Isat): the flux
linkage is then Ls i + (L0 - Ls) Isat tanh(i/Isat). The secondary is not a state: its spark gap is an element
of the circuit that holds the primary at breakdown voltage over turns ratio on turn-off (`circuit`), so all
energy that does not go into the driver's clamp goes there. The burning voltage after breakdown is not
modelled.
"""

from math import cosh, log, tanh

import numpy as np

from loomproof_sim.plant.loads.base import Array, LinearForm, Load, State


class Coil(Load):
    """State: primary current in A."""

    states = 1

    def __init__(self, resistance_ohm: float, inductance_h: float, saturation_a: float, share: float) -> None:
        self.static_ohm = resistance_ohm
        self.inductance_h = inductance_h
        self.saturation_a = saturation_a
        self._hard = share * inductance_h
        self._soft = (1.0 - share) * inductance_h

    def linear(self, phase: int, *, free: bool) -> LinearForm | None:
        """Only without current."""
        if free:
            return LinearForm(np.zeros((1, 1)), np.zeros(1), np.zeros(1), np.zeros(1))
        return None

    def current(self, state: State, phase: int) -> float:
        """The state."""
        return state[0]

    def current_many(self, states: Array, phase: int) -> Array:
        """The column."""
        return states[:, 0]

    def rate(self, state: State, volt: float, phase: int) -> list[float]:
        """di/dt."""
        u = min(abs(state[0]) / self.saturation_a, 300.0)
        c = cosh(u)
        return [(volt - self.static_ohm * state[0]) / (self._hard + self._soft / (c * c))]

    def free_rate(self, state: State, phase: int) -> list[float]:
        """Nothing goes on."""
        return [0.0]

    def free_state(self, state: State) -> list[float]:
        """No current."""
        return [0.0]

    def nudged(self, state: State, phase: int, amp: float) -> list[float]:
        """That current."""
        return [amp]

    def scale(self) -> tuple[float, ...]:
        """A tenth of the saturation current."""
        return (0.1 * self.saturation_a,)

    def magnetic_j(self, state: State, phase: int) -> float:
        """Integral of i dλ."""
        u = min(abs(state[0]) / self.saturation_a, 300.0)
        soft = self._soft * self.saturation_a**2 * (u * tanh(u) - log(cosh(u)))
        return 0.5 * self._hard * state[0] ** 2 + soft
