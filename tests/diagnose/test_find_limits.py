"""From the best explanation to findings: which fault leads, which look the same, and what is said of the others."""

from types import SimpleNamespace

import pytest

from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.explain import find as finding
from loomproof.diagnose.explain.candidates import candidates, log_prior, single_faults
from loomproof.diagnose.explain.search import Explained
from loomproof.diagnose.faults.definition import Hypothesis, Scope
from loomproof.diagnose.faults.odds import OddsTable
from loomproof.diagnose.faults.registry import FAULTS, of_scope, separated_by
from loomproof.diagnose.observed.features import Conduct, Features, Rest
from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import Noticed, PullResult
from loomproof.facts.fault_kind import FaultKind as Kind
from loomproof.facts.signature import OffShape
from loomproof.facts.verdict import Property, PropertyVerdict, Verdict


def fault(kind, *channels, feed=None):
    return Hypothesis(kind, channels or (3,), feed)


def features(channel, *, ohm=None, pull=None):
    return Features(
        channel=channel,
        rest=Rest.CONNECTED,
        conduct=Conduct.FLOWS,
        resistance=None if ohm is None else Estimate(ohm, 0.1),
        inductance=None,
        moved=None,
        off_shape=OffShape.CANNOT_TELL,
        noticed=Noticed.NOT_ASKED,
        pull=pull,
        dropouts=0,
        watched=False,
        steady=None,
        inrush=None,
        source_ohm=None,
        unsteady=False,
    )


class Scores:
    """What each set of faults is worth, by hand."""

    def __init__(self, worth, seen=None):
        self.worth = worth
        self.features = seen or {}
        self.expected = Expectations(Estimate(20.0, 1.0))

    def score(self, faults):
        return sum(self.worth.get(one, 0.0) for one in faults)

    def channel_under(self, channel, faults):
        del channel, faults
        return SimpleNamespace(odds=OddsTable())


@pytest.fixture
def job(bench):
    return bench.jobs["boat"]


def verdict(channel, about, outcome=Verdict.FAIL, **numbers):
    return PropertyVerdict(channel, about, outcome, reason="as it is", **numbers)


# -- candidates ---------------------------------------------------------------------------------------


def test_shared_causes_are_always_candidates_and_single_ones_of_the_suspects_alone(job):
    fitted = [c.channel for c in job.channels if c.fitted]
    seen = {c: features(c) for c in fitted}
    found = candidates(job, seen, [fitted[2], fitted[0], fitted[2]])
    supplies = [h for h in found if FAULTS[h.kind].scope is Scope.SUPPLY]
    assert supplies == [Hypothesis(what.kind, ()) for what in of_scope(Scope.SUPPLY)]
    feeds = [h for h in found if h.feed is not None]
    fed = {f.id: tuple(c.channel for c in job.channels if c.fitted and c.feed == f.id) for f in job.feeds}
    assert {h.feed: h.channels for h in feeds} == {key: channels for key, channels in fed.items() if channels}
    assert len(feeds) == len(of_scope(Scope.FEED)) * len([1 for channels in fed.values() if channels])
    assert {h.channels for h in found if len(h.channels) == 1 and h.feed is None} == {
        (fitted[0],),
        (fitted[2],),
    }
    pairs = [h for h in found if FAULTS[h.kind].scope is Scope.PAIR]
    assert {h.channels for h in pairs} <= {(fitted[0], fitted[2])}
    assert len(found) == len(set(found))


def test_a_feed_of_which_nothing_was_seen_is_no_candidate(job):
    first = next(c for c in job.channels if c.fitted and c.feed == job.feeds[0].id)
    found = candidates(job, {first.channel: features(first.channel)}, [])
    assert {(h.feed, h.channels) for h in found if h.feed} == {(job.feeds[0].id, (first.channel,))}


def test_a_swap_that_the_pulls_show_is_a_candidate_once(job):
    pulls = {1: PullResult(1, (5,), "other"), 5: PullResult(5, (1,), "other")}
    seen = {c: features(c, pull=pull) for c, pull in pulls.items()}
    for suspects in ([], [1, 5]):
        found = candidates(job, seen, suspects)
        assert found.count(Hypothesis(Kind.SWAPPED, (1, 5))) == 1


def test_only_what_a_load_can_have_is_a_candidate(job):
    for channel in (c.channel for c in job.channels if c.fitted):
        load = job.load_type(channel)
        kinds = {h.kind for h in single_faults(job, channel)}
        assert kinds == {what.kind for what in of_scope(Scope.CHANNEL) if what.fits(load)}
        assert all(h.channels == (channel,) for h in single_faults(job, channel))


def test_a_prior_is_that_of_the_kind_on_so_many_channels():
    assert log_prior(fault(Kind.OPEN)) == FAULTS[Kind.OPEN].log_prior(1)
    assert log_prior(fault(Kind.SWAPPED, 1, 2, 3)) == FAULTS[Kind.SWAPPED].log_prior(3)


# -- what can stand for a failed property -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "about", "value", "means"),
    [
        (Kind.ADDED_RESISTANCE, Property.RESISTANCE, 20.0, True),
        (Kind.ADDED_RESISTANCE, Property.RESISTANCE, 10.0, True),
        (Kind.ADDED_RESISTANCE, Property.RESISTANCE, 9.9, False),
        (Kind.ADDED_RESISTANCE, Property.RESISTANCE, None, True),
        (Kind.ADDED_RESISTANCE, Property.INRUSH, 9.9, True),
        (Kind.SHORTED_TURNS, Property.RESISTANCE, 9.9, True),
        (Kind.SHORTED_TURNS, Property.ACTION, None, False),
        (Kind.OPEN, Property.CONTINUITY, None, True),
    ],
)
def test_a_resistance_that_is_too_low_was_not_added_to(kind, about, value, means):
    numbers = {} if value is None else {"measured": Estimate(value, 0.1), "low": 10.0, "high": 14.0}
    assert finding._can_mean(kind, verdict(3, about, **numbers)) is means


def test_without_a_limit_no_resistance_is_too_low():
    low = verdict(3, Property.RESISTANCE, measured=Estimate(1.0, 0.1))
    assert finding._can_mean(Kind.ADDED_RESISTANCE, low)


def test_a_single_fault_explains_what_failed_on_its_own_channel():
    failed = [verdict(3, Property.CONTINUITY), verdict(4, Property.ACTION)]
    assert finding._explains(fault(Kind.OPEN), failed)
    assert not finding._explains(fault(Kind.STUCK_ARMATURE), failed)
    assert finding._explains(fault(Kind.STUCK_ARMATURE, 4), failed)
    assert finding._explains(fault(Kind.STUCK_ARMATURE, 5), failed)
    unsure = [verdict(3, Property.CONTINUITY, Verdict.UNSURE)]
    assert finding._explains(fault(Kind.STUCK_ARMATURE), unsure)
    both = [verdict(3, Property.CONTINUITY), verdict(3, Property.ACTION)]
    assert finding._explains(fault(Kind.STUCK_ARMATURE), both)


def test_shared_faults_are_left_to_the_evidence():
    failed = [verdict(3, Property.ACTION)]
    assert finding._explains(fault(Kind.SWAPPED, 3, 4), failed)
    assert finding._explains(fault(Kind.FEED_WEAK, 3, feed="F1"), failed)
    assert finding._explains(Hypothesis(Kind.WEAK_SUPPLY, ()), failed)


# -- the shadow of a short to ground -------------------------------------------------------------------------


def test_a_short_to_ground_makes_up_resistance_on_its_feed_and_no_other(job):
    feed = next(f.id for f in job.feeds if sum(c.feed == f.id and c.fitted for c in job.channels) > 1)
    one, two = [c.channel for c in job.channels if c.feed == feed and c.fitted][:2]
    other = next(c.channel for c in job.channels if c.fitted and c.feed != feed)
    short = fault(Kind.SHORT_TO_GROUND, one)
    on_feed = {c.channel for c in job.channels if c.feed == feed}
    assert finding._loaded_by_short(job, frozenset({short})) == on_feed
    assert finding._loaded_by_short(job, frozenset({fault(Kind.OPEN, one)})) == set()
    seeming, real = fault(Kind.ADDED_RESISTANCE, two), fault(Kind.ADDED_RESISTANCE, other)
    weak = Hypothesis(Kind.FEED_WEAK, tuple(sorted(on_feed)), feed)
    across = Hypothesis(Kind.FEED_WEAK, (two, other), feed)
    opened = fault(Kind.OPEN, two)
    chosen = frozenset({short, seeming, real, weak, across, opened})
    assert finding._without_shadows(job, chosen) == {short, real, across, opened}
    assert finding._without_shadows(job, chosen - {short}) == chosen - {short}


# -- what has to be explained ----------------------------------------------------------------------------------


def forced(job, worth, verdicts, chosen=frozenset()):
    return finding._forced(job, Scores(worth), frozenset(chosen), verdicts)


def test_a_failed_channel_that_nothing_touches_gets_its_best_fault(job):
    failed = [verdict(3, Property.CONTINUITY)]
    worth = {fault(Kind.INTERMITTENT): 2.0, fault(Kind.OPEN): 1.0, fault(Kind.STUCK_ARMATURE): 9.0}
    assert forced(job, worth, failed) == {fault(Kind.INTERMITTENT)}
    assert forced(job, worth, failed, {fault(Kind.OPEN)}) == frozenset()
    assert forced(job, worth, failed, {fault(Kind.SWAPPED, 3, 4)}) == frozenset()
    assert forced(job, worth, failed, {fault(Kind.OPEN, 4)}) == {fault(Kind.INTERMITTENT)}


@pytest.mark.parametrize("outcome", [Verdict.UNSURE, Verdict.PASS, Verdict.NOT_TESTED])
def test_what_did_not_fail_forces_nothing(job, outcome):
    assert forced(job, {}, [verdict(3, Property.CONTINUITY, outcome)]) == frozenset()


def test_each_failed_channel_is_explained_once(job):
    failed = [verdict(3, Property.CONTINUITY), verdict(3, Property.ACTION), verdict(4, Property.CONTINUITY)]
    found = forced(job, {fault(Kind.OPEN): 1.0, fault(Kind.OPEN, 4): 1.0}, failed)
    assert found == {fault(Kind.OPEN), fault(Kind.OPEN, 4)}


def test_a_failed_supply_is_the_supplys_fault_once(job):
    failed = [verdict(3, Property.FEED), verdict(4, Property.FEED)]
    weak = Hypothesis(Kind.WEAK_SUPPLY, ())
    assert forced(job, {}, failed) == {weak}
    assert forced(job, {}, failed, {weak}) == frozenset()
    assert forced(job, {fault(Kind.OPEN): 1.0}, [*failed, verdict(3, Property.CONTINUITY)]) == {
        weak,
        fault(Kind.OPEN),
    }


def test_a_channel_in_the_shadow_of_a_short_needs_no_fault_of_its_own(job):
    feed = next(f.id for f in job.feeds if sum(c.feed == f.id and c.fitted for c in job.channels) > 1)
    one, two = [c.channel for c in job.channels if c.feed == feed and c.fitted][:2]
    failed = [verdict(two, Property.RESISTANCE)]
    assert forced(job, {}, failed, {fault(Kind.SHORT_TO_GROUND, one)}) == frozenset()
    assert len(forced(job, {}, failed, {fault(Kind.OPEN, one)})) == 1


# -- suspects by surprise ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("worth", "suspect"), [(4.001, {3}), (4.0, set()), (-1.0, set())])
def test_a_channel_that_looks_much_more_like_a_fault_is_suspect_although_it_passes(job, worth, suspect):
    scores = Scores({fault(Kind.OPEN): worth, fault(Kind.INTERMITTENT): -9.0})
    assert finding._surprising(job, scores, {3, 4}) == suspect
    assert finding._surprising(job, scores, {4}) == set()


# -- which of those that look the same leads ------------------------------------------------------------------

OPEN, INTERMITTENT, WRONG = fault(Kind.OPEN), fault(Kind.INTERMITTENT), fault(Kind.WRONG_LOAD)
ACROSS, TO_SUPPLY = fault(Kind.SHORT_ACROSS_LOAD), fault(Kind.SHORT_TO_SUPPLY)


def test_the_leader_is_of_the_kin_that_is_most_probable_together():
    item = Explained(WRONG, 0.4, ((ACROSS, 0.35), (TO_SUPPLY, 0.2), (None, 0.05)))
    led = finding._of_likeliest_kin(item)
    assert (led.fault, led.probability) == (ACROSS, 0.35)
    assert led.rivals == ((WRONG, 0.4), (TO_SUPPLY, 0.2), (None, 0.05))


@pytest.mark.parametrize("second", [0.1, 0.2])
def test_the_leader_stays_where_no_kin_is_more_probable(second):
    item = Explained(WRONG, 0.5, ((ACROSS, 0.3), (TO_SUPPLY, second)))
    assert finding._of_likeliest_kin(item) is item


def test_kin_of_other_channels_do_not_count():
    item = Explained(WRONG, 0.4, ((ACROSS, 0.35), (fault(Kind.SHORT_TO_SUPPLY, 4), 0.25)))
    assert finding._of_likeliest_kin(item) is item


# -- a finding ------------------------------------------------------------------------------------------------


def found(job, item, *, ohm=14.0):
    scores = Scores({}, {c.channel: features(c.channel, ohm=ohm) for c in job.channels if c.fitted})
    return finding._finding(job, scores, item)


def test_a_finding_has_the_faults_place_and_probability(job):
    one = found(job, Explained(OPEN, 0.75, ((INTERMITTENT, 0.125), (None, 0.125))))
    assert (one.fault, one.channels, one.likelihood, one.together) == (Kind.OPEN, (3,), 0.75, 0.75)
    assert one.cavities == (job.channel(3).cavity,)
    assert one.location == job.location_of(3).name
    assert one.feed == job.feed_of(3).id
    assert one.remedy == FAULTS[Kind.OPEN].advice.remedy
    assert one.evidence_against == ("intermittent contact instead: 12%", "nothing wrong at all: 12%")
    assert one.evidence_for == ("channel 3: its pin rests at the supply, current flows, (14.00 ± 0.20) ohm",)
    assert one.cannot_tell_from == ()


@pytest.mark.parametrize(("share", "named"), [(0.0201, True), (0.02, False)])
def test_what_is_hardly_probable_is_not_named(job, share, named):
    one = found(job, Explained(OPEN, 0.9, ((INTERMITTENT, share), (None, share))))
    assert len(one.evidence_against) == (2 if named else 0)


@pytest.mark.parametrize(("share", "twin"), [(0.1001, True), (0.1, False)])
def test_a_twin_is_named_from_a_fifth_of_the_leaders_probability_on(job, share, twin):
    one = found(job, Explained(ACROSS, 0.5, ((TO_SUPPLY, share), (WRONG, 0.3))))
    assert one.cannot_tell_from == ((Kind.SHORT_TO_SUPPLY,) if twin else ())
    assert one.together == pytest.approx(0.5 + share if twin else 0.5)
    assert ("This box cannot tell it from short to the supply" in one.sentence) is twin


def test_what_looks_the_same_only_unmeasured_is_named_only_then(job):
    item = Explained(ACROSS, 0.5, ((WRONG, 0.4),))
    assert found(job, item).cannot_tell_from == ()
    unmeasured = found(job, item, ohm=None)
    assert unmeasured.cannot_tell_from == (Kind.WRONG_LOAD,)
    assert unmeasured.together == pytest.approx(0.9)


def test_twins_on_several_channels_are_named_once_and_never_more_than_certain(job):
    feed_open = Hypothesis(Kind.FEED_OPEN, (3, 4), job.feeds[0].id)
    item = Explained(OPEN, 0.6, ((feed_open, 0.3), (Hypothesis(Kind.FEED_OPEN, (3,), "F9"), 0.3)))
    one = found(job, item)
    assert one.cannot_tell_from == (Kind.FEED_OPEN,)
    assert one.together == 1.0


def test_a_finding_of_a_feed_or_the_supply_has_no_cavity_to_go_to(job):
    weak = found(job, Explained(Hypothesis(Kind.WEAK_SUPPLY, ()), 0.9, ()))
    assert (weak.channels, weak.cavities, weak.location, weak.feed) == ((), (), None, None)
    feed = job.feeds[1].id
    fed = tuple(c.channel for c in job.channels if c.fitted and c.feed == feed)
    assert found(job, Explained(Hypothesis(Kind.FEED_OPEN, fed, feed), 0.9, ())).feed == feed


def test_the_next_measurement_separates_the_leading_two_kinds():
    words = finding._next_measurement
    alone = FAULTS[Kind.OPEN].advice.next_measurement
    assert words(Kind.OPEN, []) == words(Kind.OPEN, [Kind.OPEN]) == alone
    apart = separated_by(Kind.OPEN, Kind.INTERMITTENT)
    rivals = [Kind.OPEN, Kind.INTERMITTENT, Kind.FEED_OPEN]
    assert words(Kind.OPEN, rivals) == f"{apart} (would separate it from intermittent contact)"
    assert separated_by(Kind.OPEN, Kind.SHORTED_TURNS) is None
    assert words(Kind.OPEN, [Kind.SHORTED_TURNS]) == f"{alone} (would separate it from shorted turns)"
