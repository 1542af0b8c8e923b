"""What the firmware and the console assume of the channel circuit, checked in ngspice.

The netlist (firmware/hardware/circuit) is a design, not a measured board. Expectations come from
the board profile that the console is told, from textbook formulas named beside each test, and
from the load catalogue's limits.
"""

import re
from math import log
from pathlib import Path

import numpy as np
import pytest

from loomproof.facts.kinds import LoadKind
from loomproof.job.catalogue import CATALOGUE
from loomproof_sim.profiles import REFERENCE
from loomproof_wire.messages import CEILINGS
from testbed.spice import transient

CIRCUIT = Path(__file__).parents[2] / "firmware" / "hardware" / "circuit" / "channel.cir"
SUPPLY_V = 13.5
LSB_V = 5.0 / REFERENCE.full_counts
CONVERSION_S = 6.5e-6
"""A quarter of the quickest sample period; the AVR board takes twice as long."""
ACQUIRE_S = 1.5 / 13 * CONVERSION_S
"""An AVR converter samples for the first 1.5 of its 13 clocks (ATmega2560 datasheet, ADC timing)."""


@pytest.fixture
def spice(tmp_path):
    def run(body, vectors, stop_s, step_s):
        head = f"check\n.include {CIRCUIT}\n.options reltol=1e-4 abstol=1e-9 method=gear\nvref ref 0 5\n"
        times, values = transient(tmp_path, head + body, vectors, f"{step_s:g} {stop_s:g} 0 {step_s:g}")
        return (times, *values.T)

    return run


@pytest.fixture(scope="session")
def part():
    values = {}
    units = {"k": 1e3, "meg": 1e6, "n": 1e-9, "p": 1e-12, "u": 1e-6, "m": 1e-3, "": 1.0}
    for name, number, unit in re.findall(
        r"(\w+)=([0-9.]+)(meg|[knpum]?)\b", CIRCUIT.read_text().split(".model")[0]
    ):
        values[name] = float(number) * units[unit]
    return values


def read_back_at(spice, current_a):
    """Return the fine and wide voltages with a steady current in the shunt."""
    body = f"i1 0 sense {current_a}\nrs sense 0 {{shunt_ohm}}\nx1 sense fine wide ref read_back\n"
    _, fine, wide = spice(body, ["v(fine)", "v(wide)"], 100e-6, 1e-6)
    return fine[-1], wide[-1]


def test_current_ranges_have_the_scale_and_the_offset_that_the_board_tells(spice):
    fine_0, wide_0 = read_back_at(spice, 0.0)
    fine_1, _ = read_back_at(spice, 1.0)
    _, wide_10 = read_back_at(spice, 10.0)
    # Each board is calibrated; the design has to be near enough that nothing clips before its range ends.
    assert (fine_1 - fine_0) == pytest.approx(5.0 / REFERENCE.fine_full_a, rel=0.03)
    assert (wide_10 - wide_0) / 10 == pytest.approx(5.0 / REFERENCE.wide_full_a, rel=0.03)
    # Zero reads well above 0 counts, so that the noise of a zero current is seen whole.
    assert fine_0 / LSB_V == pytest.approx(REFERENCE.fine_offset_counts, abs=4)
    assert wide_0 / LSB_V == pytest.approx(REFERENCE.wide_offset_counts, abs=2)


def test_the_fine_range_clips_and_the_wide_one_does_not(spice):
    fine, wide = read_back_at(spice, 15.0)
    assert fine == pytest.approx(4.9, abs=0.05)
    assert wide == pytest.approx(15.0 * 5.0 / REFERENCE.wide_full_a, rel=0.03)


def test_both_ranges_top_out_above_what_is_believed(spice):
    """A short circuit reads more than 97 % of full scale, which every limit is below (core/trip.c)."""
    for volts in read_back_at(spice, 100.0):
        assert volts * 1024 / 5.0 > 0.97 * REFERENCE.full_counts + 5


def test_both_ranges_are_settled_at_the_first_sample(spice):
    """A step of current (a lamp, a resistor) is within half a count at the first sample after the edge."""
    after_s = REFERENCE.first_sample_ns / 1e9
    body = (
        "i1 0 sense pulse(0 1.8 10u 50n 50n 1 2)\nrs sense 0 {shunt_ohm}\nx1 sense fine wide ref read_back\n"
    )
    times, fine, wide = spice(body, ["v(fine)", "v(wide)"], 60e-6, 20e-9)
    for volts in (fine, wide):
        at_sample = np.interp(10e-6 + 50e-9 + after_s, times, volts)
        assert abs(at_sample - volts[-1]) < LSB_V / 2
        assert volts[-1] > volts[0] + 0.3, "the step must be seen at all"


def test_both_ranges_lag_a_ramp_alike_and_less_than_half_a_microsecond(spice):
    """A first-order lag shifts a ramp in time (textbook); `first_sample_ns` has to allow for it."""
    slope_a_s = 18.0 / 2e-3
    """The fastest load: a bare coil of 2 mH at 18 V."""
    end_a = slope_a_s * 100e-6
    body = f"i1 0 sense pwl(0 0 10u 0 110u {end_a})\nrs sense 0 {{shunt_ohm}}\n"
    body += "x1 sense fine wide ref read_back\n"
    times, fine, wide = spice(body, ["v(fine)", "v(wide)"], 110e-6, 20e-9)
    lags_s = []
    for volts in (fine, wide):
        at_60, at_100 = (float(np.interp(at_s, times, volts)) for at_s in (60e-6, 100e-6))
        volts_per_a = (at_100 - at_60) / (slope_a_s * 40e-6)
        shown_a = (at_100 - float(volts[0])) / volts_per_a
        lags_s.append(90e-6 - shown_a / slope_a_s)
    assert 0 < lags_s[1] < lags_s[0] < 0.5e-6, lags_s
    assert lags_s[0] - lags_s[1] < 0.15e-6, lags_s


def test_drain_and_supply_scales_and_the_resting_bias(spice, part):
    body = "vd d 0 48\nx1 d tap ref drain_sense\nvs s 0 16\n"
    body += "x2 s stap supply_sense\nx3 open otap ref drain_sense\nrl open 0 1e9\n"
    _, tap, stap, rest = spice(body, ["v(tap)", "v(stap)", "v(open)"], 1e-3, 1e-5)
    assert tap[-1] == pytest.approx(48.0 * 5.0 / REFERENCE.drain_full_v, rel=0.01)
    assert stap[-1] == pytest.approx(16.0 * 5.0 / REFERENCE.supply_full_v, rel=0.001)
    assert rest[-1] == pytest.approx(REFERENCE.bias_v, rel=0.02)
    # Thevenin: what the open drain is fed through is the bias resistor beside the divider.
    divider = part["drain_top_ohm"] + part["drain_foot_ohm"]
    through = part["drain_bias_ohm"] * divider / (part["drain_bias_ohm"] + divider)
    assert through == pytest.approx(REFERENCE.bias_ohm, rel=0.02)


def test_the_converter_has_acquired_its_input_in_time(spice):
    """From one end of the range to the other, through follower and multiplexer, within half a count."""
    body = "v1 tap 0 pulse(5 0.2 1u 1n 1n 5u 10u)\nx1 tap held sample\n"
    times, held = spice(body, ["v(held)"], 11e-6, 5e-9)
    assert abs(np.interp(1e-6 + ACQUIRE_S, times, held) - 0.2) < LSB_V / 2
    body = "v1 tap 0 pulse(0.2 4.8 1u 1n 1n 5u 10u)\nx1 tap held sample\n"
    times, held = spice(body, ["v(held)"], 5e-6, 5e-9)
    assert abs(np.interp(1e-6 + ACQUIRE_S, times, held) - 4.8) < LSB_V / 2


START_S = 20e-6


def switched_off(spice, ohm, henry, current_a, after_s):
    """Charge a load and switch off; return times, drain volts, shunt current after the edge, and at it."""
    on_s = -henry / ohm * log(1 - current_a * ohm / SUPPLY_V)
    body = (
        f"vs s 0 {SUPPLY_V}\nrl s l {ohm}\nll l d {henry}\nvg g 0 pulse(0 5 {START_S} 50n 50n {on_s} 10)\n"
        "x1 d g c low_side\nrs c 0 {shunt_ohm}\nx2 d tap ref drain_sense\n"
    )
    times, drain, shunt = spice(body, ["v(d)", "v(c)"], START_S + on_s + after_s, max(1e-7, after_s / 4000))
    times -= START_S + on_s
    off = times > 0
    return times[off], drain[off], shunt[off] / 0.01, shunt[~off][-1] / 0.01


LARGEST = [
    pytest.param(load, id=key)
    for key, load in CATALOGUE.items()
    if load.inductance_mh is not None
    and load.resistance_ohm is not None
    and load.kind is not LoadKind.IGNITER_COIL
]


def most_of(load):
    """Return the worst resistance, inductance and current that catalogue and ceiling allow a load."""
    ohm = load.resistance_ohm.low
    current_a = min(load.limits.max_current_a, CEILINGS.max_current_ma / 1000, 0.98 * SUPPLY_V / ohm)
    return ohm, load.inductance_mh.high * 1e-3, current_a


def stored_j(load):
    _, henry, current_a = most_of(load)
    return 0.5 * henry * current_a**2


ENERGY_RATING_J = 1.0
"""What the bill of parts asks of the driver: one clamp pulse of this energy from 25 degC."""


def test_clamp_voltage_and_energy_with_the_largest_load_of_the_catalogue(spice):
    """Energy of a clamped R-L load: E = Vc L/R (I - (Vc-Vs)/R ln(1 + I R/(Vc-Vs))), textbook."""
    load = max((param.values[0] for param in LARGEST), key=stored_j)
    ohm, henry, current_a = most_of(load)
    fall_s = henry * current_a / (REFERENCE.clamp_v - SUPPLY_V)
    times, drain, current, last_a = switched_off(spice, ohm, henry, current_a, 1.3 * fall_s)
    assert last_a == pytest.approx(current_a, rel=0.05)
    in_clamp = (times > 0.1 * fall_s) & (times < 0.7 * fall_s)
    clamp_v = float(np.median(drain[in_clamp]))
    assert clamp_v == pytest.approx(REFERENCE.clamp_v, rel=0.05)
    assert drain.max() < 0.6 * 110, "peak against the driver's 110 V in the model, 100 V class"
    energy_j = float(np.trapezoid(drain * current, times))
    rise_v = clamp_v - SUPPLY_V
    expected_j = clamp_v * henry / ohm * (last_a - rise_v / ohm * log(1 + last_a * ohm / rise_v))
    assert energy_j == pytest.approx(expected_j, rel=0.05)
    assert energy_j < ENERGY_RATING_J / 2, (
        f"{load.key}: {energy_j:.3f} J against a rating of {ENERGY_RATING_J} J"
    )


def test_clamp_current_is_seen_by_the_shunt(spice):
    """The decay after switch-off has to be in the trace: the clamp current must not go round the shunt."""
    times, _, current, last_a = switched_off(spice, 14.0, 14e-3, 0.85, 500e-6)
    at_s = 100e-6
    rise_v = REFERENCE.clamp_v - SUPPLY_V
    expected_a = (last_a + rise_v / 14) * np.exp(-at_s * 14 / 14e-3) - rise_v / 14
    assert np.interp(at_s, times, current) == pytest.approx(expected_a, abs=0.03)


def test_dissipation_at_the_ceilings(spice):
    """20 A at 90 % duty, hot: what the bill of parts asks of driver (with heat sink) and shunt."""
    body = "i1 0 d 20\nvg g 0 5\nx1 d g c low_side\nrs c 0 {shunt_ohm}\n"
    _, drain, shunt = spice(body, ["v(d)", "v(c)"], 1e-3, 1e-5)
    duty = CEILINGS.max_duty_permille / 1000
    on_ohm = (drain[-1] - shunt[-1]) / 20
    assert 0.004 < on_ohm < 0.012
    hot = 1.7  # on-resistance at 125 degC over that at 25 degC (datasheet convention of such parts)
    assert 20**2 * on_ohm * hot * duty < 8.0, "driver: 8 W with its heat sink"
    assert 20 * shunt[-1] * duty < 5.0, "shunt: rated 5 W"


def test_gate_edges_are_quick_and_alike(spice):
    """Delay of both edges, driver input to half the drain swing."""
    body = (
        f"vs s 0 {SUPPLY_V}\nrl s d 14\nvg g 0 pulse(0 5 10u 20n 20n 100u 1)\n"
        "x1 d g c low_side\nrs c 0 {shunt_ohm}\n"
    )
    times, drain = spice(body, ["v(d)"], 150e-6, 10e-9)
    half = drain < SUPPLY_V / 2
    on_s = times[np.argmax(half)] - 10e-6
    off_s = times[len(half) - 1 - np.argmax(half[::-1])] - 110e-6
    assert 0 < on_s < 3e-6
    assert abs(off_s - on_s) < 2.5e-6, (on_s, off_s)


def test_the_stop_input_empties_the_gate_supply(spice):
    """After the button opens, the gate supply is below any threshold (1 V) within 3 ms."""
    body = "v1 f 0 5\ns1 f x ctl 0 sw1\n.model sw1 sw(vt=0.5 ron=0.01 roff=1e9)\n"
    body += "vc ctl 0 pulse(1 0 1m 1u 1u 1 2)\nx1 x g gate_supply\n"
    times, gate = spice(body, ["v(g)"], 6e-3, 2e-6)
    assert np.interp(0.9e-3, times, gate) == pytest.approx(5.0, rel=0.01)
    assert np.interp(1e-3 + 3e-3, times, gate) < 1.0
