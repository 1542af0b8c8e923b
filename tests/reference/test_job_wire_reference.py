"""Copper and wire against the published figures."""

import pytest
from scipy import constants

from loomproof.job.load_type import COPPER_PER_K
from loomproof.job.wire import IDEAL_OHM_MM2_PER_M, wire_quantity

CLASS_5_MILLIOHM_PER_M = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95}
"""IEC 60228, class 5, plain annealed copper, maximum at 20 degC."""

VEHICLE_MILLIOHM_PER_M = {0.35: 54.4, 0.5: 37.1, 0.75: 24.7, 1.0: 18.5, 1.5: 12.7, 2.5: 7.60, 4.0: 4.71}
"""ISO 19642-3 (formerly ISO 6722), maximum at 20 degC; from memory."""


def awg_section_mm2(gauge: int) -> float:
    """ASTM B258 (from memory): d = 0.127 mm * 92 ** ((36 - n) / 39)."""
    diameter_mm = 0.127 * 92 ** ((36 - gauge) / 39)
    return float(constants.pi * diameter_mm**2 / 4)


def test_annealed_copper() -> None:
    """IEC 60028:1925: 1/58 ohm mm2/m at 20 degC, 0.00393 /K."""
    assert pytest.approx(0.0172414, rel=1e-5) == IDEAL_OHM_MM2_PER_M
    for celsius, ratio in ((-40, 0.7642), (90, 1.2751), (105, 1.33405), (125, 1.41265)):
        assert 1 + COPPER_PER_K * (celsius - 20) == pytest.approx(ratio, abs=1e-9)


@pytest.mark.parametrize("section_mm2", CLASS_5_MILLIOHM_PER_M)
def test_a_wire_lies_between_ideal_copper_and_the_standards_maximum(section_mm2: float) -> None:
    wire = wire_quantity(section_mm2, 1.0)
    assert wire.high == pytest.approx(CLASS_5_MILLIOHM_PER_M[section_mm2] / 1e3, rel=1e-9)
    assert wire.low == pytest.approx(1 / 58 / section_mm2, rel=1e-9)
    assert 5 < wire.tolerance_percent < 8


@pytest.mark.parametrize("section_mm2", VEHICLE_MILLIOHM_PER_M)
def test_vehicle_cable_that_just_meets_its_standard_is_within_tolerance(section_mm2: float) -> None:
    """Also for 0.35 mm2, which has no row in class 5."""
    wire = wire_quantity(section_mm2, 1.0)
    assert wire.low < VEHICLE_MILLIOHM_PER_M[section_mm2] / 1e3 < wire.high


@pytest.mark.parametrize(
    ("gauge", "milliohm_per_m"), [(16, 13.174), (18, 20.948), (20, 33.309), (22, 52.963), (24, 84.215)]
)
def test_american_gauges_fall_within_the_law_used_between_rows(gauge: int, milliohm_per_m: float) -> None:
    """ASTM B258 sizes (from memory), solid annealed copper: the ideal end of the interval."""
    wire = wire_quantity(awg_section_mm2(gauge), 1.0)
    assert wire.low == pytest.approx(milliohm_per_m / 1e3, rel=1.5e-3)
    assert wire.high > milliohm_per_m / 1e3


def test_voltage_lost_in_a_bulb_circuit() -> None:
    """1 A through 2 x 2.5 m of 0.5 mm2 loses 0.195 V at the class 5 maximum of 39.0 mohm/m."""
    assert wire_quantity(0.5, 2 * 2.5).high * 1.0 == pytest.approx(0.195, abs=1e-9)


@pytest.mark.parametrize("section_mm2", [0.0, 0.1, 16.5, 95.0])
def test_a_section_nobody_published_is_refused(section_mm2: float) -> None:
    with pytest.raises(ValueError, match="no resistance is known"):
        wire_quantity(section_mm2, 1.0)
