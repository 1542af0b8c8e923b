"""Laws of the two metals that matter: copper and tungsten."""

import numpy as np
from numpy.typing import NDArray

COPPER_COEFFICIENT_PER_K = 0.00393
"""Of annealed copper, from 20 °C (IEC 60028:1925)."""
COPPER_RESISTIVITY_OHM_MM2_PER_M = 1.0 / 58.0
"""Of annealed copper at 20 °C (IEC 60028:1925)."""


def copper_factor(temperature_c: float, coefficient_per_k: float = COPPER_COEFFICIENT_PER_K) -> float:
    """Resistance at a temperature over resistance at 20 °C (IEC 60028:1925, constant-mass coefficient)."""
    return 1.0 + coefficient_per_k * (temperature_c - 20.0)


# Least-squares polynomial through the resistivities 300-3000 K that handbooks print after
# H. A. Jones and I. Langmuir, General Electric Review 30 (1927) (from memory; 0.6 % at worst).
_TUNGSTEN_UOHM_CM = (5.31318482e-13, -3.63164695e-09, 1.03685427e-05, 1.82424079e-02, -6.73701215e-01)


def tungsten_resistivity_uohm_cm(kelvin: float) -> float:
    """Resistivity of tungsten wire, 250 to 3600 K."""
    a, b, c, d, e = _TUNGSTEN_UOHM_CM
    return (((a * kelvin + b) * kelvin + c) * kelvin + d) * kelvin + e


_TUNGSTEN_20C_UOHM_CM = tungsten_resistivity_uohm_cm(293.15)


def tungsten_factor(kelvin: float) -> float:
    """Resistance of a filament over its resistance at 20 °C."""
    return tungsten_resistivity_uohm_cm(kelvin) / _TUNGSTEN_20C_UOHM_CM


def tungsten_factor_many(kelvin: NDArray[np.float64]) -> NDArray[np.float64]:
    """`tungsten_factor` for arrays."""
    return np.polyval(np.array(_TUNGSTEN_UOHM_CM), kelvin) / _TUNGSTEN_20C_UOHM_CM
