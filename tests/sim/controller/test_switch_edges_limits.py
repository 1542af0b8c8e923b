"""Edges of every kind of drive, to the nanosecond."""

import pytest

from loomproof_sim.controller.switch_edges import EdgeRole, SwitchEdge, bridge, peak_hold, stepper, train
from loomproof_sim.plant.spec import Drive
from loomproof_wire.messages import DriveBridge, DrivePeakHold, DriveStepper

US = 1000
ON, OFF, WITHIN = EdgeRole.PULSE_ON, EdgeRole.PULSE_OFF, EdgeRole.WITHIN


def plain(edges):
    """(time in us, drives by name, mark) of each edge."""
    return [
        (edge.at_ns / US, tuple((channel, drive.name) for channel, drive in edge.drives), edge.role)
        for edge in edges
    ]


def test_a_train_is_on_and_off_at_exact_times():
    edges = list(train(7, 3, 20_000, 1500))
    assert plain(edges) == [
        (0, ((7, "ON"),), ON),
        (1500, ((7, "OFF"),), OFF),
        (20_000, ((7, "ON"),), ON),
        (21_500, ((7, "OFF"),), OFF),
        (40_000, ((7, "ON"),), ON),
        (41_500, ((7, "OFF"),), OFF),
    ]
    assert {edge.sampled for edge in edges} == {7}
    assert edges[0] == SwitchEdge(0, ((7, Drive.ON),), ON, 7)


def peak_hold_of(**changes):
    usual = {
        "channel": 2,
        "count": 1,
        "period_us": 20_000,
        "on_time_us": 2000,
        "peak_us": 1000,
        "chop_period_us": 400,
        "chop_duty_permille": 250,
        "trace_every": 0,
        "trace_decimation": 1,
        "trace_samples": 0,
    }
    return list(peak_hold(DrivePeakHold(**(usual | changes))))


def test_after_the_peak_each_chop_is_off_for_the_rest_of_its_duty_and_then_on():
    """A quarter of 400 us on: off for 300 us first."""
    expected = [
        (0, ((2, "ON"),), ON),
        (1000, ((2, "OFF"),), WITHIN),
        (1300, ((2, "ON"),), WITHIN),
        (1400, ((2, "OFF"),), WITHIN),
        (1700, ((2, "ON"),), WITHIN),
        (1800, ((2, "OFF"),), WITHIN),
        (2000, ((2, "OFF"),), OFF),
    ]
    once = peak_hold_of()
    assert plain(once) == expected
    assert {edge.sampled for edge in once} == {2}
    twice = plain(peak_hold_of(count=2))
    assert twice == expected + [(at + 20_000, drives, mark) for at, drives, mark in expected]


@pytest.mark.parametrize(("on_time_us", "comes_on_again"), [(1300, False), (1301, True)])
def test_a_chop_that_would_end_with_the_pulse_does_not_come_on_again(on_time_us, comes_on_again):
    edges = plain(peak_hold_of(on_time_us=on_time_us))
    assert ((1300, ((2, "ON"),), WITHIN) in edges) is comes_on_again
    assert edges[-1] == (on_time_us, ((2, "OFF"),), OFF)


def test_a_peak_as_long_as_the_pulse_is_not_chopped():
    assert plain(peak_hold_of(peak_us=2000)) == [(0, ((2, "ON"),), ON), (2000, ((2, "OFF"),), OFF)]


@pytest.mark.parametrize(
    ("steps", "order"), [(6, [1, 3, 5, 7, 1, 3]), (-6, [7, 5, 3, 1, 7, 5]), (1, [1]), (-1, [7]), (0, [])]
)
def test_a_stepper_goes_round_its_windings_one_at_a_time(steps, order):
    edges = list(stepper(DriveStepper((1, 3, 5, 7), steps, 2500)))
    expected = []
    for step, channel in enumerate(order):
        expected.append((2500 * step, ((channel, "ON"),), ON))
        expected.append((2500 * (step + 1), ((channel, "OFF"),), OFF))
    assert plain(edges) == expected
    assert [edge.sampled for edge in edges] == [channel for channel in order for _ in range(2)]


def bridge_of(duration_ms, duty_permille, chop_period_us=300):
    return list(bridge(DriveBridge(15, 16, duration_ms, chop_period_us, duty_permille, 1, 0)))


def test_a_bridge_holds_its_ground_and_chops_its_supply():
    """1 ms in chops of 300 us, 400 permille on: 120 us."""
    edges = bridge_of(1, 400)
    assert plain(edges) == [
        (0, ((16, "LOW"), (15, "HIGH")), ON),
        (120, ((15, "LOW"),), WITHIN),
        (300, ((15, "HIGH"),), WITHIN),
        (420, ((15, "LOW"),), WITHIN),
        (600, ((15, "HIGH"),), WITHIN),
        (720, ((15, "LOW"),), WITHIN),
        (900, ((15, "HIGH"),), WITHIN),
        (1000, ((15, "OFF"), (16, "OFF")), OFF),
    ]
    assert {edge.sampled for edge in edges} == {16}


@pytest.mark.parametrize(("duty_permille", "goes_low"), [(333, True), (334, False)])
def test_the_last_chop_goes_low_only_before_the_end(duty_permille, goes_low):
    """The last chop of 300 us begins at 900 us; 333 permille are 99.9 us, 334 100.2."""
    lows = [edge for edge in bridge_of(1, duty_permille) if edge.drives == ((15, Drive.LOW),)]
    assert (len(lows) == 4) is goes_low
    assert len(lows) >= 3


def test_a_last_chop_that_goes_low_at_the_very_end_is_left_to_the_end():
    """1 ms in chops of 250 us with the full duty: it would go low at 1000 us."""
    edges = bridge_of(1, 1000, 250)
    assert plain(edges)[-1] == (1000, ((15, "OFF"), (16, "OFF")), OFF)
    assert plain(edges)[-2] == (750, ((15, "HIGH"),), WITHIN)
