"""The sample clock and the supervision of the current, sample by sample.

A set every 26 us: current 2 us after the edge, supply 13 us and drain 19.5 us after the current (profiles.py).
"""

import numpy as np
import pytest

from loomproof_sim.controller.ports import NEVER_NS
from loomproof_sim.controller.sampler import BLOCK_NS, CURRENT, DRAIN, SUPPLY, Over, Sampler
from loomproof_sim.profiles import REFERENCE

EDGE_NS = 1_000_000
FIRST_NS = EDGE_NS + 2_000
PERIOD_NS = 26_000


class Ramp:
    """Channel n carries n mA a microsecond since the edge, with the sign asked; supply 13 V, drain 0.5 V."""

    def __init__(self, sign=1.0):
        self.sign = sign
        self.asked = 0

    def sample_many(self, channel, times_s):
        self.asked += len(times_s)
        current = self.sign * channel * 1e-3 * (np.asarray(times_s) * 1e6 - EDGE_NS / 1e3)
        return current, np.full(len(times_s), 0.5), np.full(len(times_s), 13.0)


class Kept:
    """A sink that keeps what it is given."""

    def __init__(self, decimation, sets_wanted):
        self.decimation = decimation
        self.sets_wanted = sets_wanted
        self.got = []

    def put(self, times_ns, phases, values):
        self.got += zip(times_ns.tolist(), phases.tolist(), values.tolist(), strict=True)


def started(limits_a=None, sink=None, plant=None, channel=1):
    sampler = Sampler(plant or Ramp(), REFERENCE)
    sampler.start(EDGE_NS, channel, limits_a or {}, sink)
    return sampler


def test_the_clock_starts_at_the_edge():
    sampler = started()
    assert [sampler.set_time_ns(index) for index in (0, 1, 10)] == [
        FIRST_NS,
        FIRST_NS + 26_000,
        FIRST_NS + 260_000,
    ]


@pytest.mark.parametrize(
    ("decimation", "sets", "last_ns"),
    [(1, 1, 19_501), (1, 3, 2 * 26_000 + 19_501), (4, 3, 8 * 26_000 + 19_501)],
)
def test_the_last_wanted_sample_is_the_drain_of_the_last_set(decimation, sets, last_ns):
    assert started(sink=Kept(decimation, sets)).last_ns() == FIRST_NS + last_ns
    assert started().last_ns() == NEVER_NS


def test_a_sink_gets_whole_sets_in_order_of_time_each_sample_once():
    sink = Kept(1, 3)
    sampler = started(sink=sink)
    for until_ns in range(EDGE_NS, EDGE_NS + 120_000, 7_000):  # in pieces that split sets
        assert sampler.advance(until_ns) is None
    expected = []
    for index in range(3):
        at_ns = FIRST_NS + index * PERIOD_NS
        expected += [
            (at_ns, CURRENT, pytest.approx(1e-3 * (2 + 26 * index))),
            (at_ns + 13_000, SUPPLY, 13.0),
            (at_ns + 19_500, DRAIN, 0.5),
        ]
    assert sink.got == expected


def test_every_third_set_is_kept_and_no_more_than_wanted():
    sink = Kept(3, 2)
    started(sink=sink).advance(EDGE_NS + MANY_NS)
    assert [at for at, phase, _ in sink.got if phase == CURRENT] == [FIRST_NS, FIRST_NS + 3 * PERIOD_NS]
    assert len(sink.got) == 6


MANY_NS = 3 * BLOCK_NS + 5_000


def test_a_sample_at_the_limit_is_sound_and_the_next_above_it_is_over():
    """1 mA/us: 28 mA at the second sample, 54 mA at the third."""
    at = started({1: 28.1e-3})
    assert at.advance(FIRST_NS + 2 * PERIOD_NS) is None
    over = at.advance(FIRST_NS + 2 * PERIOD_NS + 1)
    assert over == Over(1, FIRST_NS + 2 * PERIOD_NS, pytest.approx(54e-3))


class Still:
    """A current that does not change."""

    def __init__(self, current_a):
        self.current_a = current_a

    def sample_many(self, channel, times_s):
        ones = np.ones(len(times_s))
        return self.current_a * ones, 0.5 * ones, 13.0 * ones


@pytest.mark.parametrize(
    ("current_a", "is_over"),
    [(1.5, False), (np.nextafter(1.5, 2.0), True), (-1.5, False), (np.nextafter(-1.5, -2.0), True)],
)
def test_the_limit_itself_is_allowed_in_both_directions(current_a, is_over):
    over = started({1: 1.5}, plant=Still(current_a)).advance(EDGE_NS + 1_000_000)
    assert (over is not None) is is_over
    if over is not None:
        assert over == Over(1, FIRST_NS, abs(current_a))


def test_a_sample_is_taken_before_the_instant_and_not_at_it():
    sampler = started({1: 1e-6})
    assert sampler.advance(FIRST_NS) is None
    assert sampler.advance(FIRST_NS + 1) is not None


def test_supervision_goes_on_after_an_over_and_is_found_in_every_block():
    """1 mA/us reaches 60 A after 60 ms, in the fourth block."""
    late = started({1: 60.0})
    over = late.advance(EDGE_NS + 4 * BLOCK_NS)
    assert over is not None
    assert over.time_ns == FIRST_NS + 2308 * PERIOD_NS  # 60.010 ms, the first above 60 ms
    again = late.advance(EDGE_NS + 4 * BLOCK_NS)
    assert again is not None
    assert again.time_ns == over.time_ns + PERIOD_NS


def test_of_two_channels_the_earlier_one_over_is_named():
    """Channel 2 rises twice as fast."""
    for limits_a, channel, index in (
        ({1: 100e-3, 2: 100e-3}, 2, 2),
        ({1: 20e-3, 2: 100e-3}, 1, 1),
        ({2: 100e-3, 1: 20e-3}, 1, 1),
    ):
        over = started(limits_a).advance(EDGE_NS + 1_000_000)
        assert over is not None
        assert (over.channel, over.time_ns) == (channel, FIRST_NS + index * PERIOD_NS)


def test_the_trace_ends_at_the_sample_that_was_over():
    sink = Kept(1, 100)
    sampler = started({1: 30e-3}, sink)
    sampler.advance(EDGE_NS + 1_000_000)
    assert [phase for _, phase, _ in sink.got] == [CURRENT, SUPPLY, DRAIN] * 2 + [CURRENT]
    sampler.limits_a = {}
    sampler.advance(EDGE_NS + 1_000_000)
    assert sink.got[7][:2] == (FIRST_NS + 2 * PERIOD_NS + 13_000, SUPPLY)
    assert [at for at, _, _ in sink.got] == sorted({at for at, _, _ in sink.got})


def test_nothing_is_looked_at_when_nobody_wants_it():
    plant = Ramp()
    started(plant=plant).advance(EDGE_NS + 1_000_000)
    assert plant.asked == 0


def test_a_new_start_begins_anew():
    sampler = started({1: 30e-3})
    assert sampler.advance(EDGE_NS + 1_000_000) is not None
    sampler.start(2 * EDGE_NS, 1, {1: 5.0}, None)
    assert sampler.set_time_ns(0) == 2 * EDGE_NS + 2_000
    assert sampler.advance(2 * EDGE_NS + 100_000) is None


def test_a_sink_that_wants_decimated_sets_does_not_thin_out_the_supervision():
    """30 mA are passed between 28 and 54 us, in a set that the sink does not keep."""
    sink = Kept(10, 5)
    over = started({1: 30e-3}, sink).advance(EDGE_NS + 1_000_000)
    assert over is not None
    assert over.time_ns == FIRST_NS + 2 * PERIOD_NS
    assert [at for at, _, _ in sink.got] == [FIRST_NS, FIRST_NS + 13_000, FIRST_NS + 19_500]
