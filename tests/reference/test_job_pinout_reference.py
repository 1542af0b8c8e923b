"""American wire gauges to mm2 against the table of ASTM B258 (values from memory)."""

import pytest

from loomproof.job.pinout.values import awg_mm2


@pytest.mark.parametrize(
    ("gauge", "section_mm2"),
    [(10, 5.261), (12, 3.309), (14, 2.081), (16, 1.309), (18, 0.823), (20, 0.518), (22, 0.326), (24, 0.205)],
)
def test_sections_of_wire_gauges(gauge, section_mm2):
    assert awg_mm2(gauge) == pytest.approx(section_mm2, rel=2e-3)
