"""Estimators against scipy's curve_fit, the Cramer-Rao bound and waveforms that ngspice made."""

import shutil
import subprocess

import numpy as np
import pytest
from scipy.optimize import curve_fit

from loomproof.facts.trace import Calibration
from loomproof.job.catalogue import CATALOGUE
from loomproof.measure.rise.fit import fit_rise, start_values
from loomproof.measure.signature import measure
from loomproof.measure.trace.from_counts import trace_from_counts


def rise(t, amplitude, tau):
    return amplitude * (1.0 - np.exp(-t / tau))


def mixed_noise(clean):
    """Fine up to 2 A, wide beyond: 1.3 and 13 mA."""
    return np.where(clean < 2.0, 1.3e-3, 13e-3)


@pytest.mark.parametrize(("amplitude", "tau"), [(0.96, 1e-3), (5.0, 1e-3), (0.15, 2.8e-3)])
def test_same_answer_as_curve_fit(amplitude, tau):
    """scipy.optimize.curve_fit with absolute_sigma is the reference."""
    t = 26e-6 * np.arange(1, 230)
    u = mixed_noise(rise(t, amplitude, tau))
    i = rise(t, amplitude, tau) + u * np.random.default_rng(3).normal(size=t.size)
    best, covariance = curve_fit(rise, t, i, p0=(amplitude, tau), sigma=u, absolute_sigma=True)
    guess = start_values(t, i, np.full(t.size, 13.5), free_start=False)[1]
    own = fit_rise(t, i, u, origin_s=0.0, tau_s=guess)
    assert (own.amplitude_a, own.tau_s) == pytest.approx(tuple(best), rel=1e-5)
    widened = max(1.0, own.chi2_reduced)
    expected = np.sqrt(np.diag(covariance) * widened)
    assert np.sqrt(np.diag(own.covariance)) * [1.0, own.tau_s] == pytest.approx(expected, rel=1e-3)


def test_cramer_rao_bound():
    """Fisher information of I0 (1 - e^(-t/tau)), numerically; 2000 seeded runs, ratio within 5 %.

    The bound itself for 100 points over 5 tau and sigma 0.01 is 0.001827 and 0.006881 (recomputed).
    """
    t = np.linspace(0.05, 5.0, 100)
    step = 1e-6
    columns = [
        (rise(t, 1 + step, 1.0) - rise(t, 1 - step, 1.0)) / (2 * step),
        (rise(t, 1.0, 1 + step) - rise(t, 1.0, 1 - step)) / (2 * step),
    ]
    fisher = np.array([[a @ b for b in columns] for a in columns]) / 0.01**2
    bound = np.sqrt(np.diag(np.linalg.inv(fisher)))
    assert bound == pytest.approx([0.001827, 0.006881], rel=0.02)
    rng = np.random.default_rng(17)
    u = np.full(t.size, 0.01)
    fits = [
        fit_rise(t, rise(t, 1.0, 1.0) + 0.01 * rng.normal(size=t.size), u, origin_s=0.0, tau_s=0.8)
        for _ in range(2000)
    ]
    spread = np.std([(f.amplitude_a, f.tau_s) for f in fits], axis=0)
    assert spread / bound == pytest.approx([1.0, 1.0], abs=0.05)


NETLIST = """* a winding behind wire and switch
Vbat b 0 13.5
Rint b s 0.05
Rwire s a 0.2
Rl a w 14
Ll w d 14m
Sw d 0 g 0 sw
Dz 0 d zclamp
Vg g 0 PULSE(0 5 0 10n 10n {on} 1)
.model sw SW(Ron=0.1 Roff=10Meg Vt=2.5 Vh=0)
.model zclamp D(Bv=48 Ibv=1m Rs=1m Cjo=1p)
.options reltol=1e-6
.tran 0.2u {end} 0 0.2u
.control
run
wrdata {out} v(s) v(d) i(Ll)
quit 0
.endc
.end
"""


@pytest.fixture(scope="module")
def spice(tmp_path_factory):
    """Time, supply, drain and current of one 8 ms pulse, made by ngspice."""
    assert shutil.which("ngspice"), "ngspice is needed (Debian package ngspice)"
    folder = tmp_path_factory.mktemp("spice")
    deck = folder / "winding.cir"
    deck.write_text(NETLIST.format(on=8e-3, end=9e-3, out="out.data"))
    subprocess.run(["ngspice", "-b", deck.name], cwd=folder, check=True, capture_output=True, timeout=120)
    table = np.loadtxt(folder / "out.data")
    return table[:, 0], table[:, 1], table[:, 3], table[:, 5]


@pytest.mark.parametrize("seed", range(3))
def test_a_trace_that_ngspice_made(spice, seed):
    """R 14.2 ohm (with the wire) and L 14 mH of the netlist, within the stated uncertainty."""
    time, supply, drain, current = spice
    k = Calibration(2 / 1007, 16.0, 20 / 1017, 6.0, 20 / 1023, 60 / 1023, gain_u_relative=0.002)
    rng = np.random.default_rng(seed)
    at = 2e-6 + 26e-6 * np.arange(340)

    def counts(values, when, per_count, offset=0.0):
        raw = np.interp(when, time, values) / per_count + offset
        return np.clip(np.rint(raw + 0.5 * rng.normal(size=raw.size)), 0, 1023)

    trace = trace_from_counts(
        counts(current, at, k.fine_a_per_count, 16.0),
        counts(current, at, k.wide_a_per_count, 6.0),
        counts(supply, at + 13e-6, k.supply_v_per_count),
        counts(drain, at + 19.5e-6, k.drain_v_per_count),
        k,
        channel=1,
        sample_period_s=26e-6,
        first_sample_s=2e-6,
        supply_skew_s=13e-6,
        drain_skew_s=19.5e-6,
        on_time_s=8e-3,
    )
    found = measure([trace], CATALOGUE["stepper_idle"])
    assert found.resistance_ohm.value == pytest.approx(14.2, abs=3 * found.resistance_ohm.u)
    assert found.inductance_h.value == pytest.approx(14e-3, abs=3 * found.inductance_h.u)
    assert found.clamp_v.value == pytest.approx(48.0, abs=0.5)
    # Turn-off time L/R ln(1 + I R / (Vclamp - V)): Kirchhoff, closed form.
    due = 14e-3 / 14.2 * np.log1p(final(found) * 14.2 / (48.0 - 13.5))
    assert found.decay_s.value == pytest.approx(due, rel=0.05)


def final(found):
    return found.final_current_a.value
