"""Copper and tungsten against published values."""

import numpy as np
import pytest

from loomproof_sim.plant.loads.lamp import filament_heat_capacity_j_per_k
from loomproof_sim.plant.materials import (
    COPPER_RESISTIVITY_OHM_MM2_PER_M,
    copper_factor,
    tungsten_factor,
    tungsten_factor_many,
    tungsten_resistivity_uohm_cm,
)


@pytest.mark.parametrize(
    ("temperature_c", "factor"),
    [(-40, 0.7642), (20, 1.0), (90, 1.2751), (105, 1.33405), (125, 1.41265)],
)
def test_copper(temperature_c, factor):
    """IEC 60028:1925: 0.00393 per kelvin from 20 degC."""
    assert copper_factor(temperature_c) == pytest.approx(factor, abs=1e-9)


def test_copper_resistivity():
    """IEC 60028:1925: 1/58 ohm mm2/m at 20 degC."""
    assert pytest.approx(0.0172414, abs=1e-7) == COPPER_RESISTIVITY_OHM_MM2_PER_M


@pytest.mark.parametrize(
    ("kelvin", "uohm_cm"),
    [(300, 5.65), (500, 10.56), (1000, 24.93), (1500, 40.36), (2000, 56.67), (2500, 73.91), (2800, 84.70)],
)
def test_tungsten(kelvin, uohm_cm):
    """H. A. Jones and I. Langmuir, General Electric Review 30 (1927), as handbooks print it (from memory).

    Desai et al., J. Phys. Chem. Ref. Data 13 (1984) lie within a few per cent of these.
    """
    assert tungsten_resistivity_uohm_cm(kelvin) == pytest.approx(uohm_cm, rel=0.01)


def test_tungsten_hot_over_cold():
    """The same table: 84.70 / 5.65 = 14.99."""
    hot_over_cold = tungsten_resistivity_uohm_cm(2800) / tungsten_resistivity_uohm_cm(300)
    assert hot_over_cold == pytest.approx(14.99, rel=0.01)


def test_tungsten_rises_everywhere():
    kelvin = np.linspace(250, 3600, 500)
    factors = tungsten_factor_many(kelvin)
    assert (np.diff(factors) > 0).all()
    assert factors[100] == pytest.approx(tungsten_factor(float(kelvin[100])), rel=1e-12)
    assert tungsten_factor(293.15) == pytest.approx(1.0, abs=1e-12)


def test_filament_mass():
    """A 21 W filament weighs some milligrams (common practice, no source).

    1.2 mJ/K over 132 J/(kg K) is 9 mg.
    """
    capacity = filament_heat_capacity_j_per_k(26.5, 13.5**2 / 26.5)
    assert 2e-6 < capacity / 132.0 < 20e-6
