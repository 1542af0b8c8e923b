"""The wiggle test at will: whose turn it is, what is held and what never is, where the hand was."""

import pytest

from loomproof.facts.step import StepEnd
from loomproof.procedure.session import Session
from loomproof.procedure.wiggle.model import Said
from loomproof.procedure.wiggle.runner import ALONE_MS, SHORTEST_HOLD_MS, SLICE_MS
from loomproof.safety.approve import NotPermittedError
from loomproof.safety.statements import StatementKind, form_for
from tests.procedure.conftest import state_harmless


class Hand:
    """Says what it is told to say, one thing a poll, and has enough after some slices."""

    def __init__(self, says=(), slices=2):
        self.says = list(says)
        self.slices = slices
        self.states = []
        self.fresh = []

    def told(self, state, fresh):
        self.states.append(state)
        self.fresh += fresh

    def poll(self):
        if self.says:
            return self.says.pop(0)
        done = self.states and len(self.states[-1].spans) >= self.slices
        return Said(enough=True) if done else None


@pytest.fixture
def session(job, box, make_person, notebook):
    made = Session(job, box, make_person(box), notebook)
    made.open()
    state_harmless(made)
    plain = box.watch

    def watch(channel, *, duration_ms, sample_hz=5000, depth_permille=200):
        box.log.append(("sensed", (channel, duration_ms)))
        return plain(channel, duration_ms=duration_ms)

    def watch_held(approved, *, sample_hz=5000, depth_permille=200):
        hold = approved.request
        box.log.append(("held", (hold.channel, hold.duration_ms)))
        return plain(hold.channel, duration_ms=hold.duration_ms)

    box.watch, box.watch_held = watch, watch_held
    return made


def wiggles(notebook):
    return {o.step_id: o for o, _ in notebook.of("ended") if o.step_id.startswith("wiggle-")}


def test_several_channels_take_turns(session, box):
    hand = Hand(slices=5)
    wiggled = session.wiggle(hand, [1, 3], held=False)
    assert [d for _, d in box.calls("sensed")] == [(c, SLICE_MS) for c in (1, 3, 1, 3, 1)]
    assert wiggled.end is StepEnd.DONE
    assert set(wiggled.watched_s) == {1, 3}
    assert not box.calls("arm", "held")


def test_one_alone_is_watched_longer(session, box):
    session.wiggle(Hand(slices=1), [3], held=False)
    assert box.calls("sensed") == [("sensed", (3, ALONE_MS))]


def test_each_dropout_is_told_and_written_with_its_hand(session, box, notebook):
    box.loose = {3: 2}
    hand = Hand([Said(hand="at the header")], slices=1)
    wiggled = session.wiggle(hand, [3], held=False)
    assert [(s.channel, s.length_us, s.depth_permille, s.hand) for s in hand.fresh] == [
        (3, 500, 800, "at the header")
    ] * 2
    assert wiggled.seen[1].at_s > wiggled.seen[0].at_s
    outcome = wiggles(notebook)["wiggle-3"]
    assert outcome.evidence[0].dropouts == 2
    assert outcome.evidence[0].watched
    assert [row["hand"] for row in outcome.measured["dropouts"]] == ["at the header"] * 2
    events = [e for e in notebook.of("event") if e.kind == "dropout"]
    assert len(events) == 2
    assert "0.5 ms" in events[0].text
    assert "at the header" in events[0].text


def test_where_the_hand_was_can_be_said_afterwards(session, box, notebook):
    box.loose = {3: 2}
    hand = Hand(slices=2)
    plain = hand.poll
    hand.poll = lambda: (
        Said("by the bulkhead", 1) if len(hand.fresh) == 2 and hand.fresh.append(None) is None else plain()
    )
    session.wiggle(hand, [3], held=False)
    assert [row["hand"] for row in wiggles(notebook)["wiggle-3"].measured["dropouts"]][:2] == [
        "",
        "by the bulkhead",
    ]


def test_a_channel_that_shows_nothing_at_rest_is_refused(session, box):
    box.pulled = {3}
    with pytest.raises(ValueError, match="channel 3 shows no load at rest"):
        session.wiggle(Hand(), [1, 3], held=False)


def test_a_valve_is_held_within_its_budget_and_rests(session, box):
    hand = Hand(slices=2)
    budget = session.budget(3)
    wiggled = session.wiggle(hand, [3], held=True)
    assert wiggled.end is StepEnd.DONE
    assert all(ms <= budget.max_hold_ms for _, (_, ms) in box.calls("held"))
    held_s = box.calls("held")[0][1][1] / 1000
    last = next(state for state in hand.states if len(state.spans) == 2)
    (_, _, first_end), (_, second_start, _) = last.spans
    duty = budget.max_duty_permille / 1000
    assert second_start - first_end >= held_s * (1 / duty - 1) - 1e-6


def test_slice_upon_slice_heats_a_held_load_no_further_than_its_budget(session, box):
    core, model = session._core, session.budget(3).model
    almost = 0.9995 * model.thermal.rise_k
    core.heat = core.heat.with_drive(3, model, almost * model.thermal.c_j_per_k, box.now_s(), 0.0)
    rises_k = []

    class Feeling(Hand):
        def told(self, state, fresh):
            super().told(state, fresh)
            rises_k.append(core.heat.rise_k(3, model, state.now_s))

    wiggled = session.wiggle(Feeling(slices=8), [3], held=True)
    assert wiggled.end is StepEnd.DONE
    held_ms = [ms for _, (_, ms) in box.calls("held")]
    assert len(held_ms) == 8
    assert SHORTEST_HOLD_MS <= min(held_ms) < ALONE_MS, "its warmth shortens how long it is held"
    assert max(rises_k) <= 1.001 * model.thermal.rise_k  # the ledger counts a hold without what leaves in it


def test_a_load_too_warm_to_be_held_is_refused_with_the_reason(session, box):
    core, model = session._core, session.budget(3).model
    core.heat = core.heat.with_drive(
        3, model, model.thermal.rise_k * model.thermal.c_j_per_k, box.now_s(), 0.0
    )
    with pytest.raises(ValueError, match=r"K are left of earlier drives\. Let it cool"):
        session.wiggle(Hand(), [3], held=True)
    assert not box.calls("held", "arm")


@pytest.mark.parametrize("channel", [1, 2])
def test_injectors_and_coils_are_never_held(session, box, channel):
    with pytest.raises(ValueError, match="must not be held on"):
        session.wiggle(Hand(), [channel], held=True)
    assert not box.calls("held", "arm")


def test_a_load_that_moves_needs_its_statement_before_it_is_held(session, box, job):
    with pytest.raises(NotPermittedError):
        session.wiggle(Hand(), [4], held=True)
    assert not box.calls("held", "arm")
    for kind in StatementKind:
        form = form_for(kind, job.setting)
        session.state(kind, form.fact_keys, form.typed_word, "RB")
    session.wiggle(Hand(slices=1), [4], held=True)
    names = [what for what, _ in box.log]
    assert names.index("arm") < names.index("held") < names.index("disarm")


def test_a_stop_ends_it_and_keeps_what_was_seen(session, box, notebook):
    box.loose = {3: 1}
    hand = Hand(slices=99)
    told = hand.told

    def stop(state, fresh):
        told(state, fresh)
        if len(state.spans) == 2:
            session.request_stop("stop key")

    hand.told = stop
    wiggled = session.wiggle(hand, [3], held=False)
    assert wiggled.end is StepEnd.STOPPED
    assert wiggles(notebook)["wiggle-3"].evidence[0].dropouts == len(wiggled.seen) > 0


def test_an_unknown_choice_is_refused(session):
    with pytest.raises(ValueError, match="choose a channel"):
        session.wiggle(Hand(), [], held=False)
