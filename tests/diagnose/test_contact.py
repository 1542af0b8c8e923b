"""The contact of a channel while the loom is flexed: held, let go, or not to be seen."""

import pytest

from loomproof.diagnose.explain.find import find
from loomproof.diagnose.rules.judge import judge
from loomproof.facts.evidence import ChannelEvidence, LoomEvidence
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.verdict import Property, PropertyVerdict, Verdict, channel_verdict

SOUND = tuple(
    PropertyVerdict(1, p, Verdict.PASS) for p in (Property.CONTINUITY, Property.RESISTANCE, Property.ACTION)
)


def contact(bench, **seen):
    job = bench.jobs["boat"]
    evidence = LoomEvidence(channels={1: ChannelEvidence(1, **seen)})
    found = [v for v in judge(job, evidence) if v.channel == 1 and v.property is Property.CONTACT]
    return found[0] if found else None


@pytest.mark.parametrize(
    ("seen", "verdict"),
    [
        ({"watched": True}, Verdict.PASS),
        ({"watched": True, "dropouts": 1}, Verdict.FAIL),
        ({"dropouts": 3}, Verdict.FAIL),
        ({"unwatchable": True}, Verdict.NOT_TESTED),
        ({"unwatchable": True, "watched": True}, Verdict.PASS),
    ],
)
def test_verdict_of_the_contact(bench, seen, verdict):
    assert contact(bench, **seen).verdict is verdict


def test_where_no_wiggle_test_was_asked_for_nothing_is_said_of_the_contact(bench):
    assert contact(bench) is None


@pytest.mark.parametrize(("dropouts", "words"), [(1, "let go once"), (4, "let go 4 times")])
def test_how_often_it_let_go_is_said(bench, dropouts, words):
    assert words in contact(bench, watched=True, dropouts=dropouts).reason


def test_a_contact_that_could_not_be_watched_keeps_a_sound_channel_from_passing():
    blind = PropertyVerdict(1, Property.CONTACT, Verdict.NOT_TESTED)
    assert channel_verdict(SOUND, 1) is Verdict.PASS
    assert channel_verdict((*SOUND, blind), 1) is Verdict.NOT_TESTED


@pytest.mark.parametrize(
    ("fault", "kind"),
    [
        ("open:12", FaultKind.OPEN),
        ("short_to_ground:12", FaultKind.SHORT_TO_GROUND),
        ("short_to_supply:12", FaultKind.SHORT_TO_SUPPLY),
    ],
)
def test_an_input_that_is_driven_high_shows_its_shorts_the_other_way(bench, fault, kind):
    lab = bench("boat", fault, seed=31)
    evidence = lab.evidence()
    verdicts = judge(lab.job, evidence)
    assert channel_verdict(verdicts, 12) is Verdict.FAIL
    (found,) = find(lab.job, evidence, verdicts)
    assert found.channels == (12,)
    # Shorted to the supply, it draws no current from the box that drives it: the same as another, larger input.
    alike = found.cannot_tell_from if kind is FaultKind.SHORT_TO_SUPPLY else ()
    assert kind in {found.fault, *alike}
