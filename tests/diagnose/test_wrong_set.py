"""A whole set of another part: one finding of the set, not one of its feed or of each joint."""

from dataclasses import replace

import numpy as np
import pytest

from loomproof.diagnose.explain.find import find
from loomproof.diagnose.faults.amounts import more_ohm, plain
from loomproof.diagnose.rules.judge import judge
from loomproof.facts.estimate import Estimate
from loomproof.facts.fault_kind import FaultKind

SET = (1, 2, 3, 4, 5, 6)
TWO_RAILS = {1: "F1", 2: "F1", 3: "F1", 4: "F3", 5: "F3", 6: "F3"}


@pytest.fixture(scope="module")
def sound(bench):
    lab = bench("classroom", seed=9)
    return lab.job, lab.evidence()


def scaled(estimate, factor):
    return None if estimate is None else Estimate(estimate.value * factor, estimate.u * factor)


def another_make(seen, channels, ohm_factor, henry_factor=1.0, added=0.0):
    """What these channels would show with other values, each part a little different."""
    changed = dict(seen.channels)
    for k, channel in enumerate(channels):
        own = 1.0 + 0.004 * ((k % 3) - 1)
        signature = changed[channel].signature
        ohm = scaled(signature.resistance_ohm, ohm_factor * own)
        changed[channel] = replace(
            changed[channel],
            signature=signature.but(
                resistance_ohm=Estimate(ohm.value + added, ohm.u),
                inductance_h=scaled(signature.inductance_h, henry_factor * own),
            ),
        )
    return replace(seen, channels=changed)


def on_two_rails(job):
    moved = tuple(
        c.model_copy(update={"feed": TWO_RAILS[c.channel]}) if c.channel in TWO_RAILS else c
        for c in job.channels
    )
    return job.model_copy(update={"channels": moved})


def drawn():
    rng = np.random.default_rng(11)
    return [(float(rng.uniform(1.5, 8.0)), float(rng.uniform(1.3, 6.0))) for _ in range(8)]


@pytest.mark.parametrize(("ohm_factor", "henry_factor"), drawn())
def test_another_part_throughout_is_the_set_whatever_its_values(sound, ohm_factor, henry_factor):
    job, seen = sound
    seen = another_make(seen, SET, ohm_factor, henry_factor)
    found = find(job, seen, judge(job, seen))
    assert [(f.fault, f.channels) for f in found] == [(FaultKind.WRONG_SET, SET)], [f.sentence for f in found]
    assert found[0].sentence.startswith("All 6 of ")


@pytest.mark.parametrize("ohm_factor", [1.3, 1.6, 2.5])
def test_another_make_on_both_rails_is_neither_feed(sound, ohm_factor):
    """Two weak feeds at once that add the same are much rarer than one order of other parts."""
    job, seen = on_two_rails(sound[0]), another_make(sound[1], SET, ohm_factor)
    found = find(job, seen, judge(job, seen))
    assert [(f.fault, f.channels) for f in found] == [(FaultKind.WRONG_SET, SET)]


@pytest.mark.parametrize("added", [0.8, 2.0, 4.0])
def test_on_one_rail_alone_with_the_right_inductance_it_is_the_feed_and_other_parts_are_weighed(sound, added):
    """Joints add resistance and no inductance; other parts seldom have just the inductance that is due."""
    job, seen = sound[0], another_make(sound[1], SET, 1.0, added=added)
    (found,) = find(job, seen, judge(job, seen))
    assert found.fault is FaultKind.FEED_WEAK
    assert any(line.startswith("the whole set is another part instead") for line in found.evidence_against)
    assert "measure it alone" in found.next_measurement


def test_one_odd_part_among_sisters_is_not_the_set(sound):
    job, seen = sound[0], another_make(sound[1], (3,), 5.0, 5.0)
    assert FaultKind.WRONG_SET not in {f.fault for f in find(job, seen, judge(job, seen))}


def test_a_sound_set_is_not_accused(sound):
    job, seen = sound
    assert find(job, seen, judge(job, seen)) == ()


@pytest.mark.parametrize(
    ("ohm", "text"),
    [(-0.57, ""), (0.0, ""), (0.0423, "+0.042 ohm there"), (312.0, "+310 ohm there")],
)
def test_what_is_added_is_never_less_than_nothing(ohm, text):
    assert more_ohm(ohm, "there") == text


@pytest.mark.parametrize(("value", "text"), [(1234.0, "1200"), (0.00061, "0.00061"), (18.4, "18")])
def test_sizes_are_written_without_powers_of_ten(value, text):
    assert plain(value) == text
