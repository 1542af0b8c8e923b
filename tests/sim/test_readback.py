"""What the converter makes of currents and voltages."""

from dataclasses import replace

import numpy as np
import pytest

from loomproof_sim.profiles import PROFILES, REFERENCE
from loomproof_sim.readback import DRAIN, FINE, SUPPLY, WIDE, Readback


def test_counts_are_clamped_at_both_ends() -> None:
    readback = Readback(REFERENCE, 1)
    counts = readback.counts(1, np.array([-5.0, 100.0]), np.array([-1.0, 90.0]), np.array([-2.0, 90.0]))
    assert counts[0].tolist() == [0, 0, 0, 0]
    assert counts[1].tolist() == [1023] * 4


def test_the_ranges_are_2_and_20_ampere() -> None:
    readback = Readback(replace(REFERENCE, noise_counts=0.0), 1)
    counts = readback.counts(1, np.array([1.9, 2.1, 19.0]), np.full(3, 13.5), np.full(3, 48.0))
    assert counts[0, FINE] < 1023 == counts[1, FINE]
    assert counts[2, WIDE] < 1023
    assert float(counts[0, SUPPLY]) * readback.supply_uv_per_count * 1e-6 == pytest.approx(13.5, abs=0.01)
    assert float(counts[0, DRAIN]) * readback.drain_uv_per_count * 1e-6 == pytest.approx(48.0, abs=0.03)


def test_noise_and_quantisation_have_the_declared_size() -> None:
    # variance of the sum of independent errors; a quantiser's is 1/12 count squared (JCGM 100:2008, F.2.2.1)
    readback = Readback(REFERENCE, 3)
    counts = readback.counts(2, np.full(20_000, 0.87654), np.full(20_000, 13.5), np.full(20_000, 5.0))
    assert counts[:, FINE].std() == pytest.approx((0.5**2 + 1 / 12) ** 0.5, rel=0.03)


@pytest.mark.parametrize("profile", PROFILES.values(), ids=PROFILES)
def test_gain_errors_are_as_uncertain_as_reported(profile) -> None:
    errors = [Readback(profile, seed).scale(1 + seed % 16).fine_gain_error for seed in range(400)]
    assert np.std(errors) == pytest.approx(profile.gain_u_relative, rel=0.12)
    assert abs(np.mean(errors)) < 4 * profile.gain_u_relative / 20


def test_the_box_reads_its_own_current_within_that_uncertainty() -> None:
    readback = Readback(REFERENCE, 9)
    for channel in range(1, 17):
        for ampere in (0.5, 1.5, 5.0, 15.0):
            counts = readback.counts(channel, np.full(200, ampere), np.full(200, 13.5), np.zeros(200))
            count_a = 2e-3 if ampere < 2 else 20e-3
            mean_a = readback.current_a(channel, counts).mean()
            assert mean_a == pytest.approx(ampere, abs=4 * 0.002 * ampere + 0.2 * count_a)


def test_the_same_seed_gives_the_same_box() -> None:
    args = (3, np.linspace(0, 3, 50), np.full(50, 13.5), np.full(50, 1.0))
    assert (Readback(REFERENCE, 4).counts(*args) == Readback(REFERENCE, 4).counts(*args)).all()
    assert (Readback(REFERENCE, 4).counts(*args) != Readback(REFERENCE, 5).counts(*args)).any()
