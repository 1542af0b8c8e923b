"""A path of some ohm to ground turns its load on while everything is off: it is named, and nothing else is accused."""

from dataclasses import replace

import numpy as np
import pytest

from loomproof.diagnose.explain.find import find
from loomproof.diagnose.observed.features import Rest
from loomproof.diagnose.observed.pin_at_rest import on_at_rest, pin_at_rest, rest_state
from loomproof.diagnose.rules.judge import judge
from loomproof.facts.evidence import ChannelEvidence, LoomEvidence
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.verdict import Verdict, channel_verdict

PATHS = {FaultKind.LEAK_TO_GROUND, FaultKind.SHORT_TO_GROUND}


@pytest.fixture(scope="module")
def sound(bench):
    """What a sound loom of each job shows, once."""
    return {job: bench(job, seed=31).evidence() for job in ("inline", "bench")}


def drawn():
    """Loads of every nature with leaks from a twentieth to ten times their resistance, drawn evenly by their logarithm."""
    rng = np.random.default_rng(7)
    loads = [("inline", c) for c in (1, 3, 5, 11, 13)] + [("bench", c) for c in (1, 2, 3)]
    return [
        (job, channel, float(np.exp(rng.uniform(np.log(0.05), np.log(10.0))))) for job, channel in loads * 2
    ]


@pytest.mark.parametrize(("job", "channel", "share"), drawn())
def test_a_leak_is_named_whatever_its_ohm_and_its_load(bench, sound, job, channel, share):
    load = bench.jobs[job].load_type(channel)
    ohm = share * load.resistance_ohm.value
    lab = bench(job, f"leak_to_ground:{channel}:{ohm:.4g}", seed=31)
    seen = replace(sound[job], channels={**sound[job].channels, channel: lab.channel_evidence(channel)})
    verdicts = judge(lab.job, seen)
    assert channel_verdict(verdicts, channel) is Verdict.FAIL
    failed = {v.channel for v in verdicts if v.verdict is Verdict.FAIL}
    assert failed == {channel}
    findings = find(lab.job, seen, verdicts)
    assert [f.channels for f in findings] == [(channel,)]
    assert findings[0].fault in PATHS, findings[0].sentence
    assert FaultKind.LEAK_TO_GROUND in {findings[0].fault, *findings[0].cannot_tell_from}
    assert pin_at_rest(lab.job, seen, channel).leak_ohm == pytest.approx(ohm, rel=0.3, abs=0.2)


def test_a_coil_that_draws_all_the_time_does_not_make_its_neighbours_guilty(bench):
    """Tenths of an ohm to ground: the driver trips, and the neighbours' feed sags."""
    lab = bench("inline", "leak_to_ground:8:0.2", seed=31)
    evidence = lab.evidence()
    verdicts = judge(lab.job, evidence)
    assert {v.channel for v in verdicts if v.verdict is Verdict.FAIL} == {8}
    (found,) = find(lab.job, evidence, verdicts)
    assert (found.fault, found.channels) == (FaultKind.LEAK_TO_GROUND, (8,))
    assert found.likelihood > 0.9
    assert set(on_at_rest(lab.job, evidence)) == {8}


def test_the_finding_says_how_much_flows_while_everything_is_off(bench, sound):
    lab = bench("inline", "leak_to_ground:1:14", seed=31)
    seen = replace(sound["inline"], channels={**sound["inline"].channels, 1: lab.channel_evidence(1)})
    (found,) = find(lab.job, seen, judge(lab.job, seen))
    # Ohm's law: 13.5 V over 14 ohm of the load and 14 ohm of the leak.
    assert pin_at_rest(lab.job, seen, 1).load_a == pytest.approx(13.5 / 28.0, rel=0.1)
    assert "A flow through its load while every output is off" in found.sentence
    assert "switch the supply off first" in found.remedy


@pytest.mark.parametrize(
    ("pin_v", "word"),
    [
        (13.4, Rest.CONNECTED),
        (12.7, Rest.BETWEEN),
        (5.0, Rest.BETWEEN),
        (2.5, Rest.FLOATING),
        (1.2, Rest.BETWEEN),
        (0.1, Rest.GROUNDED),
    ],
)
def test_a_pin_rests_at_the_supply_only_as_its_load_explains(pin_v, word):
    assert rest_state(pin_v, 13.5, 2.5, 0.05, 14.0) is word


def test_a_load_of_kilohms_rests_lower_and_is_not_suspected():
    """Behind 47 kohm to 2.5 V a sound 2 kohm rests at 13.5 - 11 * 2 / 49 V (voltage divider)."""
    assert rest_state(13.5 - 11.0 * 2.0 / 49.0, 13.5, 2.5, 0.05, 2000.0) is Rest.CONNECTED


def test_neighbours_on_a_feed_that_is_pulled_down_rest_lower_and_are_not_suspected(bench):
    job = bench.jobs["inline"]
    pins = {6: 12.6, 7: 12.6, 8: 3.7, 9: 12.6, 10: 12.6}
    seen = LoomEvidence(
        {c: ChannelEvidence(c, resting_drain_v=v) for c, v in pins.items()}, supply_rest_v=13.4
    )
    assert set(on_at_rest(job, seen)) == {8}
