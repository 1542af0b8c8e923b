"""A lamp's cold resistance from the look: what the sense pulse itself warms is taken back out."""

import numpy as np
import pytest

from loomproof.diagnose.rules.judge import judge
from loomproof.facts.kinds import LoadKind
from loomproof.facts.verdict import Property, Verdict
from loomproof.measure.settle.filament import cold_filament
from loomproof_sim.profiles import PROFILES


def lamps(job):
    return [c.channel for c in job.channels if job.load_type(c.channel).kind is LoadKind.LAMP]


def true_ohm(lab, channel):
    branch = lab.plant.loom.branch(channel)
    feed = sum(f.resistance_ohm for f in lab.plant.loom.feeds if f.id == branch.feed_id)
    filament = lab.plant._circuit.loads[channel].static_ohm
    return filament + branch.wire_ohm + feed


@pytest.mark.parametrize("board", PROFILES)
@pytest.mark.parametrize("supply_v", [9.0, 13.5, 16.0])
def test_it_is_the_cold_one_within_its_uncertainty(bench, board, supply_v):
    lab = bench("bench", seed=41, supply_v=supply_v, board=PROFILES[board])
    period = lab.board.sample_period_ns * 1e-9
    pulls = []
    for channel in lamps(lab.job):
        on_s = lab.job.load_type(channel).limits.max_sense_us * 1e-6
        seen = cold_filament(lab.pulse(channel, on_s, period, 41 + int(on_s / period), 20.0))
        assert seen is not None
        assert seen.relative < 0.06
        pulls.append((seen.value - true_ohm(lab, channel)) / seen.u)
    assert np.abs(pulls).max() < 3.5


def test_a_pulse_that_tripped_or_shows_no_current_says_nothing(bench):
    lab = bench("bench", "open:5", seed=41)
    assert cold_filament(lab.pulse(5, 60e-6, 26e-6, 40, 20.0)) is None
    lab = bench("bench", "short_across_load:6", seed=41)
    assert cold_filament(lab.pulse(6, 60e-6, 26e-6, 40, 1.0)) is None


def test_a_joint_beside_a_lamp_is_failed_and_not_taken_for_warmth(bench):
    """60 % more than the cold filament: less than a warm one may have, but it was cold."""
    lab = bench("bench", "added_resistance:8:8.4", seed=41)
    evidence = lab.evidence()
    sense = lab.job.load_type(8).limits.max_sense_us * 1e-6
    fresh = bench("bench", "added_resistance:8:8.4", seed=41)
    cold = cold_filament(fresh.pulse(8, sense, 26e-6, 45, 20.0))
    own = evidence.of(8)
    with_cold = bench_change(bench, evidence, 8, own.sense.but(resistance_ohm=cold))
    words = {v.property: v.verdict for v in judge(lab.job, with_cold) if v.channel == 8}
    assert words[Property.RESISTANCE] is Verdict.FAIL
    without = bench_change(bench, evidence, 8, own.sense.but(resistance_ohm=None))
    words = {v.property: v.verdict for v in judge(lab.job, without) if v.channel == 8}
    assert words[Property.RESISTANCE] is Verdict.UNSURE


def bench_change(bench, evidence, channel, sense):
    return bench.change(evidence, channel, sense=sense)
