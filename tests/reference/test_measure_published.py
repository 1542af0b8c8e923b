"""The arithmetic of uncertainty, decision and temperature against published examples."""

import numpy as np
import pytest
from uncertainties import correlated_values
from uncertainties.umath import cos, sin  # type: ignore[attr-defined]

from loomproof.diagnose.expected.temperature import copper_factor
from loomproof.diagnose.rules.decide import decide, probability_of_conformity
from loomproof.facts.estimate import Estimate
from loomproof.facts.verdict import Verdict
from loomproof.measure.statistics import propagate, welch_satterthwaite
from loomproof.measure.trace.source import rounding_u


def gum_h2():
    """JCGM 100:2008, H.2: V, I and phi with their correlations; I in A."""
    values = np.array([4.999, 19.661e-3, 1.04446])
    u = np.array([0.0032, 0.0095e-3, 0.00075])
    r = np.array([[1.0, -0.36, 0.86], [-0.36, 1.0, -0.65], [0.86, -0.65, 1.0]])
    return values, np.outer(u, u) * r


def test_gum_h2_simultaneous_resistance_and_reactance():
    """Published: R 127.732(71), X 219.847(295), Z 254.260(236) ohm, JCGM 100:2008 table H.4; rounded inputs."""
    (v, i, phi), covariance = gum_h2()
    z = v / i
    jacobian = np.array(
        [
            [np.cos(phi) / i, -z * np.cos(phi) / i, -z * np.sin(phi)],
            [np.sin(phi) / i, -z * np.sin(phi) / i, z * np.cos(phi)],
            [1 / i, -z / i, 0.0],
        ]
    )
    u = np.sqrt(np.diag(propagate(jacobian, covariance)))
    assert [z * np.cos(phi), z * np.sin(phi), z] == pytest.approx([127.732, 219.847, 254.260], abs=0.002)
    assert u == pytest.approx([0.071, 0.295, 0.236], abs=0.0025)
    library = correlated_values([v, i, phi], covariance)
    both = [library[0] / library[1] * cos(library[2]), library[0] / library[1] * sin(library[2])]
    assert u[:2] == pytest.approx([q.std_dev for q in both], rel=1e-6)
    blind = np.sqrt(np.diag(propagate(jacobian, np.diag(np.diag(covariance)))))
    assert blind[0] == pytest.approx(0.19, abs=0.01)  # what leaving out the correlation would claim


def test_welch_satterthwaite_of_gum_h1():
    """JCGM 100:2008, H.1.6: u 25, 9.7, 2.9, 16.6 nm with 18, 25.6, 50 and 2 dof give 16 (of 16.7)."""
    dof = welch_satterthwaite([25.0, 9.7, 2.9, 16.6], [18.0, 25.6, 50.0, 2.0])
    assert dof == pytest.approx(16.7, abs=0.3)


@pytest.mark.parametrize(
    ("value", "u", "low", "high", "probability"),
    [
        (-5.47, 0.05, None, -5.40, 0.9192),  # a one-sided upper limit
        (509.7, 8.6, 490.0, None, 0.9890),  # a one-sided lower limit
    ],
)
def test_jcgm_106_conformity(value, u, low, high, probability):
    """JCGM 106:2012, clause 7 examples; inputs from memory, arithmetic recomputed."""
    assert probability_of_conformity(Estimate(value, u), low, high) == pytest.approx(probability, abs=1e-4)


def test_guard_band_bounds_the_risk_at_the_limit():
    """JCGM 106:2012, 8.3.2: with a guard of 2 u the chance of accepting what lies on the limit is 2.28 %."""
    rng = np.random.default_rng(11)
    accepted = sum(
        decide(Estimate(v, 1.0), None, 10.0).verdict is Verdict.PASS for v in 10.0 + rng.normal(size=20_000)
    )
    assert accepted / 20_000 == pytest.approx(0.0228, abs=0.0035)


def test_copper_temperature_law():
    """IEC 60028:1925: 0.00393 per K from 20 degC."""
    expected = {-40: 0.7642, 90: 1.2751, 105: 1.33405, 125: 1.41265}
    assert {t: copper_factor(t) for t in expected} == pytest.approx(expected, abs=1e-9)


def test_rounding_with_noise():
    """Widrow and Kollar, Quantization Noise (2008): the error of the mean under noise of s counts, simulated."""
    rng = np.random.default_rng(5)
    for s in (0.3, 0.4, 0.5):
        worst = max(
            abs(float(np.mean(np.rint(c + s * rng.normal(size=200_000)))) - c) for c in (0.1, 0.25, 0.4)
        )
        bound = np.exp(-2 * np.pi**2 * s**2) / np.pi
        assert worst <= bound * 1.1 + 4 * s / np.sqrt(200_000) + 1e-3
        assert rounding_u(s) == pytest.approx(bound / np.sqrt(2))
    assert rounding_u(0.0) == pytest.approx(1 / np.sqrt(12), rel=0.3)
