"""A feed on which only the inputs of igniter coils are measured: by their sparks alone it is known, and it says so."""

from dataclasses import replace

import pytest

from loomproof.diagnose.explain.find import find
from loomproof.diagnose.rules.judge import judge
from loomproof.facts.evidence import Noticed
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.verdict import Property, Verdict

COILS = (7, 8, 9, 10, 11, 12)
FEED = {FaultKind.FEED_OPEN, FaultKind.FEED_WEAK}


@pytest.fixture(scope="module")
def sound(bench):
    lab = bench("classroom", seed=5)
    return lab.job, lab.evidence()


def silent(seen, channels):
    quiet = {c: replace(seen.channels[c], noticed=Noticed.NOTHING) for c in channels}
    return replace(seen, channels={**seen.channels, **quiet})


def test_what_such_a_feed_carries_is_not_tested(sound):
    job, seen = sound
    feeds = {v.channel: v for v in judge(job, seen) if v.property is Property.FEED}
    assert {feeds[c].verdict for c in COILS} == {Verdict.NOT_TESTED}
    assert "only its input was measured" in feeds[7].reason
    assert find(job, seen, judge(job, seen)) == ()


def test_no_spark_at_every_coil_is_one_finding_of_their_feed(sound):
    job, seen = sound
    seen = silent(seen, COILS)
    (found,) = find(job, seen, judge(job, seen))
    assert {found.fault, *found.cannot_tell_from} == FEED
    assert (found.feed, found.channels) == ("F2", COILS)
    assert "cannot tell it from" in found.sentence
    assert "fuse" in found.sentence
    assert found.together > 0.95


@pytest.mark.parametrize("coil", [7, 12])
def test_no_spark_at_one_coil_does_not_accuse_its_feed(sound, coil):
    job, seen = sound
    seen = silent(seen, (coil,))
    assert not FEED & {f.fault for f in find(job, seen, judge(job, seen))}


def test_a_feed_with_loads_that_were_measured_is_not_said_to_be_weak_for_want_of_a_spark(sound):
    """The injectors on the same feed measure right."""
    job, seen = sound
    together = tuple(c.model_copy(update={"feed": "F1"}) if c.channel in COILS else c for c in job.channels)
    job = job.model_copy(update={"channels": together})
    seen = silent(seen, COILS)
    assert not FEED & {f.fault for f in find(job, seen, judge(job, seen))}


@pytest.mark.parametrize("fault", ["feed_open:F2", "feed_weak:F2:40"])
def test_the_simulated_coils_do_not_spark_on_it(bench, fault):
    lab = bench("classroom", fault, seed=5)
    seen = lab.channel_evidence(7)
    assert seen.noticed is Noticed.NOTHING
    assert seen.signature.resistance_ohm is not None
