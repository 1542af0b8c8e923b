"""A tungsten lamp: the filament's resistance follows its temperature.

C(T) dT/dt = v²/R(T) - P(T). R(T) by the resistivity of tungsten (`materials`). Radiated power rises with the
fifth power of temperature, because the emissivity of a metal rises nearly in proportion to it (Hagen-Rubens),
and equals the electrical power at the rated point. The heat capacity is that of a straight wire which at
`HOT_K` has the rated resistance and radiates the rated power (density, specific heat and emissivity of
tungsten below); a coiled filament shades itself, so the true one is somewhat longer and slower.
"""

from math import pi

from scipy.optimize import brentq

from loomproof_sim.plant.loads.base import Array, LinearForm, Load, State
from loomproof_sim.plant.materials import tungsten_factor, tungsten_factor_many, tungsten_resistivity_uohm_cm
from loomproof_sim.plant.spec import LampSpec

HOT_K = 2800.0
ROOM_K = 293.15
_EMISSIVITY = 0.34
"""Total emissivity of tungsten at 2800 K (Jones and Langmuir 1927, from memory)."""
_STEFAN_BOLTZMANN_W_M2_K4 = 5.670374e-8
_DENSITY_KG_M3 = 19_250.0
_SPECIFIC_HEAT_J_KG_K = 132.0
"""At 300 K; it rises by a sixth per 1000 K (handbook values, from memory)."""
_SPECIFIC_HEAT_RISE_PER_K = 1.7e-4


def filament_heat_capacity_j_per_k(power_w: float, hot_ohm: float) -> float:
    """Of a straight tungsten wire that radiates `power_w` at `HOT_K` and has `hot_ohm` there."""
    area_m2 = power_w / (_EMISSIVITY * _STEFAN_BOLTZMANN_W_M2_K4 * HOT_K**4)
    rho = tungsten_resistivity_uohm_cm(HOT_K) * 1e-8
    diameter_m: float = (4.0 * rho * area_m2 / (pi * pi * hot_ohm)) ** (1.0 / 3.0)
    return _DENSITY_KG_M3 * _SPECIFIC_HEAT_J_KG_K * area_m2 * diameter_m / 4.0


class Lamp(Load):
    """State: filament temperature in K."""

    states = 1
    algebraic = True

    def __init__(self, spec: LampSpec, ambient_k: float) -> None:
        hot_ohm = spec.test_v / spec.steady_current_a
        if spec.resistance_ohm is None:
            self.hot_k = HOT_K
            self.cold_ohm = hot_ohm / tungsten_factor(HOT_K)
        else:
            self.cold_ohm = spec.resistance_ohm
            ratio = hot_ohm / self.cold_ohm
            if not 2.0 < ratio < 19.0:
                raise ValueError(
                    f"a lamp's hot to cold resistance is {ratio:.3g}: no tungsten filament does that"
                )
            self.hot_k = float(brentq(lambda t: tungsten_factor(t) - ratio, 400.0, 3600.0))
        self.hot_w = spec.test_v * spec.steady_current_a
        self.capacity = spec.heat_capacity_j_per_k or filament_heat_capacity_j_per_k(self.hot_w, hot_ohm)
        self.ambient_k = ambient_k
        self.static_ohm = self.cold_ohm * tungsten_factor(ambient_k)
        self._radiate = self.hot_w / (self.hot_k**5 - ROOM_K**5)

    def rest(self) -> list[float]:
        """Cold."""
        return [self.ambient_k]

    def is_rest(self, state: State, phase: int) -> bool:
        """Within a tenth of a kelvin of cold."""
        return abs(state[0] - self.ambient_k) < 0.1

    def linear(self, phase: int, *, free: bool) -> LinearForm | None:
        """Never."""
        return None

    def ohm(self, state: State) -> float:
        """Filament resistance."""
        return self.cold_ohm * tungsten_factor(state[0])

    def ohm_many(self, states: Array) -> Array:
        """Filament resistance."""
        return self.cold_ohm * tungsten_factor_many(states[:, 0])

    def _rate(self, kelvin: float, heat_w: float) -> list[float]:
        capacity = self.capacity * (1.0 + _SPECIFIC_HEAT_RISE_PER_K * (kelvin - 300.0))
        return [(heat_w - self._radiate * (kelvin**5 - self.ambient_k**5)) / capacity]

    def rate(self, state: State, volt: float, phase: int) -> list[float]:
        """Heating."""
        return self._rate(state[0], volt * volt / self.ohm(state))

    def free_rate(self, state: State, phase: int) -> list[float]:
        """Cooling."""
        return self._rate(state[0], 0.0)

    def free_state(self, state: State) -> list[float]:
        """Heat stays."""
        return list(state)

    def nudged(self, state: State, phase: int, amp: float) -> list[float]:
        """The current of a filament follows by itself."""
        return list(state)

    def scale(self) -> tuple[float, ...]:
        """300 K."""
        return (300.0,)

    def friction_w(self, state: State) -> float:
        """Radiated power."""
        return self._radiate * (state[0] ** 5 - self.ambient_k**5)
