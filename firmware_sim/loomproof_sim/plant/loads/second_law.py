"""A second law for armatures and for saturating coils, for studies of what depends on the first one.

Nothing that measures or diagnoses was ever tuned on it. Against `armature` and `coil`:

- The gap's reluctance has fringing: 1/L(x) = (1 + g h(x)) / Lc with h(x) = (1 + c)(1 - x) / (1 + c (1 - x)), so the
  pull for a given flux grows along the stroke by (1 + c)².
- The iron saturates: i = λ/L(x) + i_k (λ/λ_k)^5.
- The armature bounces off its far stop with a coefficient of restitution, and air and oil damp it.
- A coil follows Fröhlich and Kennelly: flux linkage Ls i + (L0 - Ls) i / (1 + |i|/a) (textbook), whose inductance
  falls from the first ampere on.

Shorted turns use the first law: their ring keeps the flux small.
"""

from math import log, sqrt

from loomproof.job.load_traits import REFERENCE_V
from loomproof_sim.plant.loads.armature import FLIGHT, SEATED, Armature
from loomproof_sim.plant.loads.base import Array, Guard, LinearForm, Load, State
from loomproof_sim.plant.loads.coil import Coil
from loomproof_sim.plant.spec import CoilSpec, MovingSpec

FRINGING = 1.0
IRON_SHARE = 0.15
"""Current that the iron takes at the flux of the full current, over that current."""
_IRON_POWER = 5
RESTITUTION = 0.35
_STILL = 0.06
"""Of the speed that the preload gives over the stroke: a slower rebound stays at the stop."""
_LEAST_DAMPING = 0.15
QUIET = 4
"""Phase: seated with next to no flux, where iron is linear and the closed form serves."""
_QUIET_SHARE = 0.02
"""Of the pull-in flux."""


class FringingArmature(Armature):
    """States as `Armature`: λ (Vs), x, dx/dt."""

    def __init__(self, spec: MovingSpec, resistance_ohm: float) -> None:
        super().__init__(spec, resistance_ohm)
        self.preload_j /= 1.0 + FRINGING
        self.hold_vs = self.pull_in_vs * sqrt(1.0 + self.spring) / (1.0 + FRINGING)
        full_a = REFERENCE_V / resistance_ohm
        self._iron = IRON_SHARE * full_a / (self.far_h * full_a) ** _IRON_POWER
        self._most_vs = 100.0 * self.far_h * full_a
        self._damping_ratio = max(spec.damping_ratio, _LEAST_DAMPING)

    @property
    def damping(self) -> float:
        """Friction in J s."""
        return 2.0 * self._damping_ratio * sqrt(self.mass * self.preload_j * max(self.spring, 0.05))

    def _gap(self, x: float) -> float:
        return (1.0 + FRINGING) * (1.0 - x) / (1.0 + FRINGING * (1.0 - x))

    def _inductance(self, x: float) -> float:
        return self.far_h / (1.0 + self.gain * self._gap(x))

    def first_phase(self) -> int:
        """No flux yet."""
        return QUIET

    def quiet_phase(self, state: State, phase: int) -> int:
        """Seated with so little flux that it will not leave the quiet at once."""
        calm = phase == SEATED and abs(state[0]) < 0.5 * _QUIET_SHARE * self.pull_in_vs
        return QUIET if calm else phase

    def _bounded(self, flux: float) -> float:
        """A step tried too long must not overflow before the integrator shortens it."""
        return max(-self._most_vs, min(flux, self._most_vs))

    def linear(self, phase: int, *, free: bool) -> LinearForm | None:
        """Without current, and with next to none: iron is never linear otherwise."""
        if phase == QUIET:
            return super().linear(SEATED, free=free)
        return super().linear(phase, free=True) if free else None

    def guards(self, phase: int, *, free: bool) -> tuple[Guard, ...]:
        """As `Armature`, and between quiet and seated."""
        most = _QUIET_SHARE * self.pull_in_vs
        if phase == QUIET:
            return () if free else (self._guard(0, -1.0, most), self._guard(0, 1.0, most))
        return super().guards(phase, free=free)

    def current(self, state: State, phase: int) -> float:
        """λ / L(x), and what the iron takes."""
        flux = state[0]
        if phase == QUIET:
            return flux / self._inductance(0.0)
        return flux / self._inductance(state[1]) + self._iron * self._bounded(flux) ** _IRON_POWER

    def current_many(self, states: Array, phase: int) -> Array:
        """`current` for rows."""
        flux, x = states[:, 0], states[:, 1]
        if phase == QUIET:
            return flux / self._inductance(0.0)
        gap = (1.0 + FRINGING) * (1.0 - x) / (1.0 + FRINGING * (1.0 - x))
        out: Array = flux * (1.0 + self.gain * gap) / self.far_h + self._iron * flux**_IRON_POWER
        return out

    def rate(self, state: State, volt: float, phase: int) -> list[float]:
        """Flux, and the flight under fringing's pull."""
        flux, x, speed = state
        d = volt - self.static_ohm * self.current(state, phase)
        if phase != FLIGHT:
            return [d, 0.0, 0.0]
        slope = (1.0 + FRINGING) / (1.0 + FRINGING * (1.0 - x)) ** 2
        pull = flux * flux * self.gain * slope / (2.0 * self.far_h)
        force = pull - self.preload_j * (1.0 + self.spring * x) - self.damping * speed
        return [d, speed, force / self.mass]

    def cross(self, state: State, phase: int, guard: int) -> tuple[list[float], int]:
        """The far stop throws it back a little."""
        if phase == QUIET:
            return list(state), SEATED
        speed = state[-1]
        still = _STILL * sqrt(2.0 * self.preload_j / self.mass)
        if phase == FLIGHT and guard == 0 and RESTITUTION * speed > still:
            return [*state[:-2], 1.0 - 1e-9, -RESTITUTION * speed], FLIGHT
        y, after = super().cross(state, phase, guard)
        if after == FLIGHT and phase == FLIGHT and guard == 0:
            return [*y[:-2], 1.0 - 1e-9, y[-1]], FLIGHT
        if after == SEATED and abs(y[0]) < _QUIET_SHARE * self.pull_in_vs:
            return y, QUIET
        return y, after

    def magnetic_j(self, state: State, phase: int) -> float:
        """Integral of i dλ."""
        flux = state[0]
        gap = flux**2 / (2.0 * self._inductance(state[-2]))
        return float(gap + self._iron * flux ** (_IRON_POWER + 1) / (_IRON_POWER + 1))


class FroehlichCoil(Coil):
    """State: primary current in A."""

    def __init__(self, spec: CoilSpec, resistance_ohm: float) -> None:
        super().__init__(resistance_ohm, spec.inductance_h, spec.saturation_a, spec.saturated_share)
        self._knee_a = 1.6 * spec.saturation_a

    def rate(self, state: State, volt: float, phase: int) -> list[float]:
        """di/dt."""
        bend = 1.0 + abs(state[0]) / self._knee_a
        return [(volt - self.static_ohm * state[0]) / (self._hard + self._soft / bend**2)]

    def magnetic_j(self, state: State, phase: int) -> float:
        """Integral of i dλ."""
        u = abs(state[0]) / self._knee_a
        soft = self._soft * self._knee_a**2 * (log(1.0 + u) - u / (1.0 + u))
        return 0.5 * self._hard * state[0] ** 2 + soft


def second_law(spec: MovingSpec | CoilSpec, resistance_ohm: float) -> Load | None:
    """The load under the second law, or None where it keeps the first."""
    if spec.shorted_fraction:
        return None
    if isinstance(spec, CoilSpec):
        return FroehlichCoil(spec, resistance_ohm)
    return FringingArmature(spec, resistance_ohm)


__all__ = ["FringingArmature", "FroehlichCoil", "second_law"]
