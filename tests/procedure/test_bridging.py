"""What the measuring gets of a box's traces."""

from dataclasses import replace

import numpy as np
import pytest

from loomproof.facts.trace import Calibration
from loomproof.measure.trace.from_counts import trace_from_counts
from loomproof.procedure.drive.bridge import BRIDGE_CHOP_US, chopped, decimation

PERIOD_S = 64e-6
SCALES = Calibration(
    fine_a_per_count=0.002,
    fine_offset_counts=0.0,
    wide_a_per_count=0.02,
    wide_offset_counts=0.0,
    supply_v_per_count=0.02,
    drain_v_per_count=0.06,
    noise_counts=0.5,
)


def bridge_trace(*, shared_shunt, duty):
    """1 A through a bridge; a shunt that both legs share sees it only while the supply is connected."""
    time_s = 8e-6 + PERIOD_S * np.arange(300)
    connected = np.mod(time_s, BRIDGE_CHOP_US * 1e-6) < duty * BRIDGE_CHOP_US * 1e-6
    on = time_s < 15e-3
    amps = np.where(on & (connected | (not shared_shunt)), 1.0, 0.0)
    return trace_from_counts(
        np.round(amps / 0.002),
        np.round(amps / 0.02),
        np.full(300, 675.0),
        np.zeros(300),
        SCALES,
        channel=13,
        sample_period_s=PERIOD_S,
        first_sample_s=8e-6,
        supply_skew_s=0.0,
        drain_skew_s=0.0,
        on_time_s=15e-3,
    )


@pytest.mark.parametrize("duty", [0.3, 0.5, 0.9])
@pytest.mark.parametrize("shared_shunt", [True, False])
def test_of_a_bridge_only_what_flows_while_the_supply_is_connected_counts(shared_shunt, duty):
    seen = chopped(bridge_trace(shared_shunt=shared_shunt, duty=duty), duty)
    assert seen.on.sum() > 0.6 * duty * 15e-3 / PERIOD_S
    assert seen.current_a[seen.on] == pytest.approx(1.0)
    assert seen.supply_v == pytest.approx(13.5 * duty)
    assert len(seen.time_s) == len(seen.current_u_a) == len(seen.drain_v) == len(seen.supply_v)
    assert seen.off.sum() > 50
    assert np.all(np.diff(seen.time_s) > 0)


def test_a_bridge_that_is_not_chopped_keeps_every_sample():
    trace = bridge_trace(shared_shunt=False, duty=1.0)
    assert len(chopped(trace, 1.0)) == len(trace)


@pytest.mark.parametrize(
    ("period_us", "first_us"), [(10, 1), (26, 2), (64, 8)], ids=["quick", "simulated", "firmware"]
)
@pytest.mark.parametrize("duty", [0.3, 0.5, 0.9])
@pytest.mark.parametrize("span_s", [0.02, 0.06, 0.15])
def test_no_long_part_of_a_bridges_trace_goes_unseen(period_us, first_us, duty, span_s):
    sets = 300
    every = decimation(period_us * 1e-6, span_s, sets, duty)
    time_s = first_us * 1e-6 + every * period_us * 1e-6 * np.arange(sets)
    assert time_s[-1] > 0.99 * span_s  # it holds all of it
    since_s = np.mod(time_s, BRIDGE_CHOP_US * 1e-6)
    seen = time_s[(since_s > 3e-6) & (since_s < duty * BRIDGE_CHOP_US * 1e-6 - 3e-6) & (time_s < span_s)]
    assert np.max(np.diff([0.0, *seen, span_s])) < 10 * every * period_us * 1e-6


def test_samples_that_keep_step_with_the_chopping_are_thinned_until_they_do_not():
    """20 times 10 us is the chopping itself: the same place for ever."""
    assert decimation(10e-6, 0.06, 300, 0.5) % 20 != 0


@pytest.mark.parametrize("duty", [0.3, 0.5, 0.8])
def test_the_ripple_of_the_chopping_is_taken_off(duty):
    """V (1 - duty) / L, up while the supply is connected (a stiff mean): textbook buck converter in continuous conduction."""
    supply_v, henry, mean_a = 13.5, 1e-3, 0.8
    trace = bridge_trace(shared_shunt=False, duty=duty)
    since_s = np.mod(trace.time_s, BRIDGE_CHOP_US * 1e-6)
    ripple = supply_v * (1 - duty) / henry * (since_s - duty * BRIDGE_CHOP_US * 1e-6 / 2)
    rippled = replace(trace, current_a=np.where(trace.on, mean_a + ripple, 0.0))
    seen = chopped(rippled, duty)
    assert np.ptp(rippled.current_a[rippled.on]) > 0.2
    assert seen.current_a[seen.on] == pytest.approx(mean_a, abs=1e-6)
