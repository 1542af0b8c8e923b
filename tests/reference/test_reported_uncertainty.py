"""How a result with its uncertainty is written, against the guide's own worked results.

JCGM 100:2008 (GUM), from memory: 7.2.4 gives the 100 g standard as (100.021 47 +- 0.000 79) g with k = 2.26;
H.1.7 gives the end gauge as (50.000 838 +- 0.000 093) mm with k = 2.92. The inputs carry more digits than the
printed results, as the guide's intermediate figures do (u = 0.35 mg; u = 32 nm).
"""

from __future__ import annotations

import pytest

from loomproof.records.report.words import expanded


@pytest.mark.parametrize(
    ("value", "u", "k", "printed"),
    [
        (100.02147, 0.35e-3, 2.26, "100.02147 ± 0.00079"),
        (50.000838, 32e-6, 2.92, "50.000838 ± 0.000093"),
    ],
)
def test_the_guides_own_results(value, u, k, printed):
    assert expanded(value, k * u) == printed
