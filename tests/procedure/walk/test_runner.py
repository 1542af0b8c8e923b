"""The walk on a box: what is told, what is written down, and what ends it."""

from dataclasses import replace

import pytest

from loomproof.box.errors import LinkLost
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.step import StepEnd
from loomproof.facts.verdict import Property, Verdict
from loomproof.job.load_traits import SENSE_ENERGY_J
from loomproof.procedure.events import WalkChanged
from loomproof.procedure.session import Session
from loomproof.procedure.walk.map import WALK_ON, PlaceState, cavities_of, plan_texts
from loomproof.procedure.walk.model import How, Kind, Stage, WalkKey
from loomproof.procedure.walk.scan import PERIOD_S, SENSE_US, sensed_energy_j
from loomproof.safety.load_model import worst_case
from loomproof_wire import messages as m
from tests.procedure.conftest import state_harmless


class Hand:
    """Pulls what is asked for on a fake box, seats it when told; `script` may do something else at a place."""

    def __init__(self, box, script=None):
        self.box = box
        self.script = dict(script or {})
        self.said = []
        self.state = None
        self.wait = 0
        self.keys = []

    @property
    def kinds(self):
        return [item.kind for item in self.said]

    def told(self, state, happened):
        self.said += happened
        self.state = state
        if happened:
            self.wait = 3

    def poll(self):
        self.wait -= 1
        if self.keys:
            return self.keys.pop(0), None
        if self.state is None or self.wait > 0:
            return None
        if self.state.stage is Stage.SEAT:
            self.box.pulled.clear()
        elif self.state.stage is Stage.PULL and self.state.asked is not None and not self.box.pulled:
            return self.pull(next(p for p in self.state.places if p.id == self.state.asked))
        return None

    def pull(self, place):
        act = self.script.get(place.id)
        if act is not None:
            return act(self, place)
        self.box.pulled |= set(place.expected)
        self.wait = 60
        return None


@pytest.fixture
def session(job, box, make_person, notebook):
    made = Session(job, box, make_person(box), notebook)
    made.open()
    state_harmless(made)
    return made


def pulls(notebook):
    return [outcome for outcome, _ in notebook.of("ended") if outcome.step_id.startswith("pull-")]


def test_a_sound_loom_is_walked_without_a_key_and_recorded_as_pull_checks(session, box, notebook):
    walked = session.walk(Hand(box))
    assert walked.end is StepEnd.DONE
    assert walked.map.right
    assert walked.map.complete
    assert [o.step_id for o in pulls(notebook)] == ["pull-1", "pull-2", "pull-3", "pull-4"]
    assert all(o.pull.outcome == "matched" and o.finished for o in pulls(notebook))
    location = [v.verdict for v in session.verdicts() if v.property is Property.LOCATION]
    assert location == [Verdict.PASS] * 4


def test_nothing_is_driven_or_armed_on_a_walk(session, box):
    box.log.clear()
    session.walk(Hand(box))
    assert {what for what, _ in box.log} == {"scan", "record"}
    assert {detail[1] for _, detail in box.calls("scan")} == {0}


@pytest.fixture
def mute(box):
    """Channel 3 rests at its bias, so that only a sense pulse shows its load."""

    def rest_at_bias(channels, on_us):
        result = plain(channels, on_us)
        drain = list(result.drain_counts)
        drain[2] = round(2.5 / (60 / 1024))
        return replace(result, drain_counts=tuple(drain))

    plain = box.scan
    box.scan = rest_at_bias
    return box


def test_after_a_lost_supply_a_mute_pin_gets_no_pulse_before_it_is_stated_anew(session, mute):
    def supply_goes(hand, place):
        mute.tell(m.SupplyEvent(0, 0))
        mute.tell(m.SupplyEvent(1, 13_500))
        mute.log.clear()

    walked = session.walk(Hand(mute, {"valve": supply_goes}))
    assert walked.end is StepEnd.BLOCKED
    assert not [detail for _, detail in mute.calls("scan") if detail[1]]


def test_a_mute_pin_gets_sense_pulses_and_no_other(session, mute, notebook):
    box = mute
    box.log.clear()
    walked = session.walk(Hand(box))
    assert walked.map.right
    sensed = {detail[0] for _, detail in box.calls("scan") if detail[1]}
    assert sensed == {(3,)}
    begun = next(e.text for e in notebook.of("event") if e.facts.get("walk") == "begun")
    assert f"{SENSE_US} µs" in begun
    assert "mW on average" in begun


def test_a_sense_pulse_of_a_walk_stays_within_the_passive_looks_energy(job):
    """0.1 mJ stored at most is the limit of the passive look; at 20 scans a second that is 2 mW at most."""
    for entry in job.channels:
        load = job.load_type(entry.channel)
        model = worst_case(load, supply_v=13.5)
        on_us = min(
            SENSE_US,
            load.limits.max_sense_us,
            int(model.sense_s() * 1e6) if model.sense_s() < 1 else SENSE_US,
        )
        stored_j = 0.5 * model.inductance_h * (model.supply_v * on_us * 1e-6 / model.inductance_h) ** 2
        assert stored_j <= SENSE_ENERGY_J
        assert sensed_energy_j(model, on_us) <= stored_j * (1 + 1e-9)
        assert sensed_energy_j(model, on_us) / PERIOD_S <= 2e-3


def test_a_swapped_pair_is_found_with_its_moves(session, box, notebook):
    box.wiring = {1: 3, 3: 1}
    walked = session.walk(Hand(box))
    rows = {row.place.id: row for row in walked.map.rows}
    assert (rows["cyl1"].found, rows["valve"].found) == ({3}, {1})
    assert walked.map.plan.rings == ((1, 3),)
    assert {o.step_id: o.pull.outcome for o in pulls(notebook)} == {
        "pull-1": "other", "pull-2": "matched", "pull-3": "other", "pull-4": "matched",
    }  # fmt: skip
    assert next(f.fault for f in session.findings()) is FaultKind.SWAPPED
    ended = next(e.text for e in notebook.of("event") if e.facts.get("walk") == "ended")
    assert "H1-1" in ended
    assert "H1-3" in ended


def test_every_step_is_told_before_it_is_written(session, box, notebook):
    order = []
    session.subscribe(lambda event: order.append("told") if isinstance(event, WalkChanged) else None)
    ended = notebook.step_ended
    notebook.step_ended = lambda *args: (order.append("written"), ended(*args))
    session.walk(Hand(box))
    assert order.index("told") < order.index("written")


def test_a_stop_ends_the_walk_and_the_next_carries_on(session, box, notebook):
    hand = Hand(box, {"valve": lambda hand, place: session.request_stop("stop key")})
    walked = session.walk(hand)
    assert walked.end is StepEnd.STOPPED
    assert not walked.map.complete
    assert [o.step_id for o in pulls(notebook)] == ["pull-1", "pull-2"]
    session.clear_stop()
    again = Hand(box)
    walked = session.walk(again)
    assert walked.map.right
    assert [i.place for i in again.said if i.kind is Kind.ASKED] == ["valve", "channel-4"]


def test_a_resumed_session_asks_only_for_what_is_open(session, box, notebook, job, make_person):
    box.wiring = {1: 3, 3: 1}
    session.walk(Hand(box, {"channel-4": lambda hand, place: (WalkKey.FINISH, None)}))
    later = Session(job, box, make_person(box), notebook, outcomes=session.outcomes)
    later.open()
    hand = Hand(box)
    walked = later.walk(hand)
    assert [i.place for i in hand.said if i.kind is Kind.ASKED] == ["channel-4"]
    assert walked.map.plan.rings == ((1, 3),)
    assert walked.map.rows[0].how is How.ASKED


def asked_by(hand):
    return [i.place for i in hand.said if i.kind is Kind.ASKED and not i.channels]


def test_a_mended_loom_is_walked_again_where_it_was_wrong_and_a_right_one_everywhere(session, box):
    box.wiring = {1: 3, 3: 1}
    session.walk(Hand(box))
    carried_on = Hand(box)
    assert session.walk(carried_on).map.plan.rings == ((1, 3),)
    assert asked_by(carried_on) == []
    box.wiring = {}
    mended = Hand(box)
    assert session.walk(mended, again=True).map.right
    assert asked_by(mended) == ["cyl1", "valve"]
    assert session.findings() == ()
    everywhere = Hand(box)
    assert session.walk(everywhere, again=True).map.right
    assert asked_by(everywhere) == ["cyl1", "coil1", "valve", "channel-4"]


def test_a_further_walk_that_is_cut_short_leaves_what_was_found(session, box):
    box.wiring = {1: 3, 3: 1}
    before = session.walk(Hand(box)).map
    cut = Hand(box, {"cyl1": lambda hand, place: (WalkKey.FINISH, None)})
    assert session.walk(cut, again=True).map.plan == before.plan
    assert asked_by(cut) == ["cyl1"]
    assert session.walk_map().plan == before.plan


def test_a_walk_that_cannot_begin_still_shows_what_is_known(session, box):
    box.wiring = {1: 3, 3: 1}
    before = session.walk(Hand(box)).map
    session.request_stop("stop key")
    walked = session.walk(Hand(box))
    assert walked.end is StepEnd.STOPPED
    assert walked.map == before


def test_no_wire_is_said_to_answer_nowhere_while_places_are_open(session, box, job):
    box.wiring = {1: 3, 3: 1}
    found = session.walk(Hand(box, {"coil1": lambda hand, place: (WalkKey.FINISH, None)})).map
    told = " ".join(plan_texts(cavities_of(job), found.plan, complete=found.complete))
    assert told.startswith(WALK_ON)
    assert "nowhere" not in told
    assert "H1-3 has not answered yet" in told or "H1-1 has not answered yet" in told


def test_a_link_that_goes_ends_the_walk(session, box):

    def gone(_detail):
        raise LinkLost("fake", "unplugged")

    walked = session.walk(Hand(box, {"valve": lambda hand, place: box.on.update(scan=gone)}))
    assert walked.end is StepEnd.LINK_LOST
    assert "unplugged" in walked.reason


def test_a_channel_without_a_load_is_told_at_the_start_and_offered_a_pulse(session, box, notebook):
    box.pulled = {3}
    told = []
    session.subscribe(
        lambda event: told.append(event.state.blind) if isinstance(event, WalkChanged) else None
    )

    class Walker:
        def __init__(self):
            self.state = None
            self.wait = 0

        def told(self, state, happened):
            self.state, self.wait = state, 3

        def poll(self):
            self.wait -= 1
            if self.wait > 0:
                return
            if self.state.stage is Stage.SEAT:
                box.pulled = {3}
            elif self.state.asked and box.pulled == {3}:
                box.pulled = {3} | set(
                    next(p for p in self.state.places if p.id == self.state.asked).expected
                )
                self.wait = 60
            return

    walked = session.walk(Walker())
    assert walked.map.blind == (3,)
    assert told[0] == (3,)
    assert walked.pulsed == ("drive-3",)
    row = next(row for row in walked.map.rows if row.place.id == "valve")
    assert row.state is PlaceState.BLIND
    outcome = next(o for o in pulls(notebook) if o.step_id == "pull-3")
    assert outcome.pull.outcome == "skipped"


def test_what_was_taken_back_proves_nothing(session, box, notebook):
    def twice(hand, place):
        hand.script.pop("coil1")
        hand.keys.append(WalkKey.NO)
        return Hand.pull(hand, place)

    hand = Hand(box, {"coil1": twice})
    walked = session.walk(hand)
    assert Kind.REOPENED in hand.kinds or Kind.TAKEN_BACK in hand.kinds
    assert walked.map.right
    assert session.verdicts()
