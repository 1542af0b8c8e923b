from dataclasses import replace

import numpy as np
import pytest

from loomproof.facts.estimate import Estimate
from loomproof.facts.signature import HasMoved, OffShape
from loomproof.job.catalogue import CATALOGUE
from loomproof.measure.pulse_plan import plan_pulse
from loomproof.measure.signature import measure
from loomproof.measure.statistics import pooled

INJECTOR, RELAY = CATALOGUE["injector_high"], CATALOGUE["relay_plain"]
PERIOD = 26e-6


def planned(maker, load, circuit, seeds=(0, 1), **changes):
    plan = plan_pulse(load, circuit.wire_ohm, circuit.emf_v, PERIOD)
    on, period = plan.on_time_us * 1e-6, PERIOD * plan.decimation
    clean = maker.shape(circuit, on, plan.samples * period, period)
    keys = {"on_s": on, "span_s": plan.samples * period, "period_s": period, "clean": clean} | changes
    return [maker.trace(circuit, seed=s, **keys) for s in seeds]


def injector(maker, **changes):
    return maker.with_(maker.circuit(stroke_gain=0.15), **changes)


def relay(maker, **changes):
    base = maker.circuit(load_ohm=90.0, rest_h=0.25, stroke_gain=0.5, travel_s=(3e-3, 6e-3))
    return maker.with_(base, **changes)


def test_an_injector_under_a_sagging_supply(maker):
    circuit = injector(maker, source_ohm=0.4)
    found = measure(planned(maker, INJECTOR, circuit), INJECTOR)
    assert found.resistance_ohm.value == pytest.approx(14.15, abs=3 * found.resistance_ohm.u)
    assert found.resistance_ohm.u < 0.1
    assert found.inductance_h.value == pytest.approx(14e-3, rel=0.01)
    assert found.inductance_closed_h.value == pytest.approx(14e-3 * 1.15, rel=0.02)
    assert found.source_ohm.value == pytest.approx(0.4, abs=0.02)
    assert found.moved is HasMoved.YES
    assert found.move_time_s.value == pytest.approx(1.5e-3, abs=60e-6)


def test_ripple_is_taken_as_measured(maker):
    found = measure(planned(maker, INJECTOR, injector(maker, ripple_v=0.4)), INJECTOR)
    assert found.resistance_ohm.value == pytest.approx(14.15, rel=0.006)
    assert found.moved is HasMoved.YES


def test_the_uncertainty_covers_what_the_scales_are_off(maker):
    """Truth beyond one and within three stated uncertainties when each scale is off by 1.5 of its own."""
    off = 1.0 + 1.5 * maker.calibration.gain_u_relative
    found = measure(planned(maker, INJECTOR, injector(maker, fine_gain=off, voltage_gain=2 - off)), INJECTOR)
    error = abs(found.resistance_ohm.value - 14.15)
    assert found.resistance_ohm.u < error < 3 * found.resistance_ohm.u


@pytest.mark.parametrize(("load", "make"), [(INJECTOR, injector), (RELAY, relay)])
def test_a_stuck_armature_is_told_and_a_moving_one_is_not_called_stuck(maker, load, make):
    stuck = measure(planned(maker, load, make(maker, stroke_gain=0.0)), load)
    free = measure(planned(maker, load, make(maker)), load)
    assert (stuck.moved, free.moved) == (HasMoved.NO, HasMoved.YES)
    assert stuck.resistance_ohm.value == pytest.approx(free.resistance_ohm.value, rel=0.01)


def test_a_stroke_too_short_to_see_is_not_guessed_at(maker):
    found = measure(planned(maker, INJECTOR, injector(maker, stroke_gain=0.04)), INJECTOR)
    assert found.moved is HasMoved.CANNOT_TELL
    assert any(reason.startswith("motion:") for reason in found.refusals)


def test_below_the_pull_in_current_it_does_not_say_stuck(maker):
    weak = maker.with_(injector(maker, stroke_gain=0.0), load_ohm=45.0)
    found = measure(planned(maker, INJECTOR, weak), INJECTOR)
    assert found.moved is HasMoved.CANNOT_TELL
    assert any("pull the armature in" in reason for reason in found.refusals)


def test_landings_are_not_seen_in_noise(maker):
    """False alarms of 300 stuck pulses: 0.1 % is stated, so more than two would be a miracle (p < 0.004)."""
    circuit = injector(maker, stroke_gain=0.0)
    traces = planned(maker, INJECTOR, circuit, seeds=range(300))
    assert sum(measure([t], INJECTOR).moved is HasMoved.YES for t in traces) <= 2


@pytest.mark.parametrize(
    ("key", "changes", "shape"),
    [
        ("relay_plain", {}, OffShape.CLAMP),
        ("relay_diode", {"diode": True}, OffShape.DIODE),
        ("relay_resistor", {"suppression_ohm": 680.0}, OffShape.RESISTOR),
        ("relay_diode", {}, OffShape.CLAMP),
        ("relay_resistor", {}, OffShape.CLAMP),
    ],
)
def test_what_lies_across_a_relay(maker, key, changes, shape):
    load = CATALOGUE[key]
    found = measure(planned(maker, load, relay(maker, **changes)), load)
    assert found.off_shape is shape
    if shape is OffShape.CLAMP:
        assert found.clamp_v.value == pytest.approx(48.0, abs=0.5)
    beside = 90.0 * 680.0 / 770.0 if "suppression_ohm" in changes else 90.0
    assert found.resistance_ohm.value == pytest.approx(beside + 0.15, rel=0.01)


def test_a_saturating_coil_gives_its_resistance_by_volt_second_balance(maker):
    load = CATALOGUE["coil_bare"]
    circuit = maker.circuit(load_ohm=0.5, rest_h=3.5e-3, saturation_a=8.0)
    found = measure(planned(maker, load, circuit, seeds=(0,)), load)
    assert found.resistance_ohm.value == pytest.approx(0.65, abs=2.5 * found.resistance_ohm.u)
    assert found.resistance_ohm.u < 0.05
    assert found.inductance_h.value == pytest.approx(3.5e-3, rel=0.02)
    assert found.rise_time_s.value > 0.0


def test_an_open_circuit_has_no_resistance_but_a_reason(maker):
    found = measure(planned(maker, INJECTOR, maker.circuit(load_ohm=1e7)), INJECTOR)
    assert found.resistance_ohm is None
    assert any("no current flows" in reason for reason in found.refusals)


def refused(maker, word, **changes):
    circuit = injector(maker)
    keys = {"on_s": 8e-3, "span_s": 9.5e-3} | changes
    found = measure([maker.trace(circuit, **keys)], INJECTOR)
    assert any(word in reason for reason in found.refusals), found.refusals
    return found


def test_bad_traces_are_refused_with_the_reason(maker):
    assert refused(maker, "tripped", tripped=True).resistance_ohm is None
    assert refused(maker, "too few samples", on_s=0.1e-3, span_s=0.4e-3).resistance_ohm is None
    assert refused(maker, "motion: the pulse ends", span_s=1.3e-3, truncated=True).moved is not HasMoved.NO


def test_a_plain_winding_cut_off_early_is_refused(maker):
    load = CATALOGUE["stepper_idle"]
    winding = maker.circuit(load_ohm=40.0, rest_h=30e-3)
    found = measure([maker.trace(winding, on_s=5e-3, span_s=0.9e-3, truncated=True)], load)
    assert any(reason.startswith("truncated") for reason in found.refusals)
    assert found.resistance_ohm is None or found.resistance_ohm.relative < 0.05


def test_a_clipped_trace_is_refused(maker):
    short = maker.circuit(load_ohm=0.2, rest_h=0.5e-3)
    found = measure([maker.trace(short, on_s=3e-3, span_s=4e-3)], CATALOGUE["coil_bare"])
    assert found.clipped
    assert found.resistance_ohm is None
    assert any(reason.startswith("clipped") for reason in found.refusals)


def test_samples_too_far_apart_give_no_inductance(maker):
    circuit = injector(maker)
    trace = maker.trace(circuit, on_s=8e-3, span_s=10e-3, period_s=520e-6)
    found = measure([trace], INJECTOR)
    assert found.inductance_closed_h is None
    assert any("aliased" in reason or "few" in reason for reason in found.refusals)


def test_pooling_shrinks_noise_and_not_the_scale():
    one = Estimate(10.0, float(np.hypot(0.03, 0.04)), 100.0, 0.04)
    four = pooled([one, one, one, one])
    assert four.u == pytest.approx(np.hypot(0.015, 0.04))
    assert four.u_gain == pytest.approx(0.04)


def test_repeats_that_disagree_are_believed_only_as_far_as_they_scatter():
    one = Estimate(10.0, 0.01, 100.0)
    both = pooled([one, replace(one, value=11.0)])
    assert both.u > 0.4
    assert both.dof < 3


def test_mixed_channels_and_nothing_at_all_are_errors(maker):
    with pytest.raises(ValueError, match="no traces"):
        measure([], INJECTOR)
    a = maker.trace(maker.circuit(), on_s=1e-3, span_s=2e-3)
    with pytest.raises(ValueError, match="different channels"):
        measure([a, replace(a, channel=2)], INJECTOR)
