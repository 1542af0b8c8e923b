"""The walk as a state machine: a person, a loom and the rules, with no box in between."""

import pytest

from loomproof.procedure.walk.machine import NO_UNTIL_S, SILENCE_S
from loomproof.procedure.walk.map import PlaceState
from loomproof.procedure.walk.model import How, Kind, Look, Order, Place, Stage, WalkKey
from tests.procedure.walk.bay import TICK_S, Bay, JoinedBay, make_places, swapped


def test_a_sound_loom_takes_one_pull_a_place_and_no_key():
    bay = Bay()
    bay.walk()
    assert bay.machine.stage is Stage.DONE
    assert bay.map().right
    assert bay.kinds.count(Kind.LOST) == bay.kinds.count(Kind.MATCHED) == 6
    assert Kind.MISMATCH not in bay.kinds


def test_a_swapped_pair_is_believed_at_the_second_pull():
    bay = Bay(wiring=swapped(3, 5))
    bay.walk()
    assert bay.found() == {p.id: bay.wiring[p.id] for p in bay.places}
    assert bay.kinds.count(Kind.MISMATCH) == bay.kinds.count(Kind.CONFIRMED) == 2
    assert bay.map().plan.rings == ((3, 5),)


def test_a_hand_on_the_wrong_connector_is_not_believed():
    bay = Bay()
    bay.answer("b")  # a was asked for
    assert bay.said[-1].kind is Kind.ASKED
    assert bay.asked == "a"
    bay.walk()
    assert bay.map().right


def test_the_wrong_hand_on_a_crossed_loom_mends_itself():
    """b's wire sits in a's cavity: pulling b when asked for a looks right, until b is asked for."""
    bay = Bay(wiring=swapped(1, 2))
    bay.answer("b")
    assert bay.machine.answers["a"].channels == {1}
    bay.walk()
    assert Kind.REOPENED in bay.kinds
    assert bay.found() == {p.id: bay.wiring[p.id] for p in bay.places}


def test_two_wrong_hands_that_look_right_do_not_agree_on_a_wrong_map():
    """c for d looks right and casts doubt on c; then b for c looks right, too, and would leave d with c's wire."""
    bay = Bay(wiring={"b": frozenset({3}), "c": frozenset({4}), "d": frozenset({2})})
    for place in "abbcc":
        bay.answer(place)
    assert bay.asked == "d"
    bay.answer("c")
    assert bay.machine.answers["d"].channels == {4}
    bay.answer("e")
    bay.answer("f")
    assert bay.asked == "c"
    bay.answer("b")
    assert bay.kinds[-3:] == [Kind.AGAIN, Kind.BACK, Kind.ASKED]
    assert "c" not in bay.machine.answers
    bay.walk()
    assert bay.found() == {p.id: bay.wiring[p.id] for p in bay.places}


def test_a_right_place_that_is_asked_again_is_pulled_twice():
    bay = Bay()
    bay.answer("a")
    for _ in range(2):
        bay.answer("a")  # b was asked for
    assert Kind.REOPENED in bay.kinds
    bay.walk()
    assert bay.kinds.count(Kind.AGAIN) == 2, "a, and b after it"
    assert bay.map().right


def test_seating_and_pulling_again_within_two_seconds_says_no():
    bay = Bay()
    bay.pull("a")
    bay.no("a")
    assert Kind.TAKEN_BACK in bay.kinds
    assert "a" not in bay.machine.answers
    bay.seat("a")
    assert bay.asked == "a"


@pytest.mark.parametrize("rest", [0.1, 0.25])
def test_a_connector_that_was_not_home_yet_says_nothing(rest):
    bay = Bay()
    bay.pull("a")
    bay.seat("a", rest)
    bay.pull("a")
    assert Kind.TAKEN_BACK not in bay.kinds
    bay.seat("a")
    assert bay.machine.answers["a"].channels == {1}
    bay.walk()
    assert bay.map().right


def test_pulling_the_same_again_later_is_no_contradiction():
    bay = Bay()
    bay.answer("a", NO_UNTIL_S + 0.5)
    bay.answer("a")
    assert bay.machine.answers["a"].channels == {1}
    bay.walk()
    assert bay.map().right


def test_channels_of_one_connector_go_together():
    places = make_places(6, groups=((2, 3, 4, 5),))
    bay = Bay(places)
    bay.walk()
    assert bay.map().right
    assert len(places) == 3


def test_a_connector_whose_channels_do_not_all_go_is_pulled_twice_and_told():
    places = make_places(4, groups=((1, 2),))
    bay = Bay(places, {"a": frozenset({1})})
    bay.walk()
    row = bay.map().rows[0]
    assert (row.state, row.found) == (PlaceState.PARTLY, {1})


def test_a_bridged_pair_that_goes_together_is_named():
    bay = Bay(wiring={"b": frozenset({2, 4}), "d": frozenset()})
    bay.walk()
    states = {row.place.id: row.state for row in bay.map().rows}
    assert states["b"] is PlaceState.JOINED
    assert states["d"] is PlaceState.NOTHING
    assert not bay.map().plan.moves


def test_a_feed_is_no_connector():
    bay = Bay(feeds={"F1": frozenset({1, 2, 3})})
    bay.off |= {"a", "b", "c"}
    bay.wait(0.5)
    assert bay.kinds[-1] is Kind.FEED
    bay.off.clear()
    bay.wait(0.5)
    assert not bay.machine.answers
    bay.walk()
    assert bay.map().right


def test_everything_gone_at_once_is_the_header_and_no_answer():
    bay = Bay()
    bay.off |= set(bay.wiring)
    bay.wait(0.5)
    assert bay.kinds[-1] is Kind.FEED
    assert not bay.machine.answers


@pytest.mark.parametrize("when", ["waiting", "settling", "off"])
def test_a_lost_supply_is_not_six_pulled_connectors(when):
    bay = Bay()
    if when != "waiting":
        bay.pull("a", 0.05 if when == "settling" else 0.4)
    bay.supply = False
    bay.off |= set(bay.wiring)
    bay.wait(1.0)
    assert bay.kinds[-1] is Kind.SUPPLY_LOST
    assert bay.machine.stage is Stage.PAUSED
    bay.supply, bay.off = True, {"a"} if when != "waiting" else set()
    bay.wait(1.0)
    assert Kind.SUPPLY_BACK in bay.kinds
    bay.seat("a")
    bay.walk()
    assert bay.map().right


def test_the_clock_starts_with_the_first_pull_and_puts_a_silent_place_off_once():
    bay = Bay(wiring={"b": frozenset()})
    bay.wait(3 * SILENCE_S)
    assert Kind.SILENT not in bay.kinds
    bay.answer("a")
    bay.wait(SILENCE_S + 1)
    assert bay.kinds.count(Kind.SILENT) == 1
    assert bay.asked == "c"
    for place in "cdef":
        bay.answer(place)
    assert bay.asked == "b"
    bay.wait(SILENCE_S + 1)
    assert bay.machine.stage is Stage.DONE
    row = bay.map().rows[1]
    assert (row.state, row.how) == (PlaceState.SILENT, How.SILENT)
    assert not bay.map().complete


def test_nobody_there_stops_the_clock():
    bay = Bay()
    bay.answer("a")
    bay.wait(10 * SILENCE_S)
    assert bay.kinds.count(Kind.SILENT) == 2
    assert bay.machine.stage is Stage.PULL


def test_one_key_says_that_nothing_moved():
    bay = Bay(wiring={"a": frozenset()})
    bay.pull("a")
    bay.key(WalkKey.NOTHING)
    assert bay.machine.answers["a"].how is How.SAID
    assert bay.asked == "b"


def test_a_second_connector_pulled_meanwhile_is_told_and_counts_for_nothing():
    bay = Bay()
    bay.pull("a", 1.0)
    bay.pull("c")
    assert bay.kinds[-1] is Kind.STRAY
    bay.off.clear()
    bay.wait(0.5)
    assert set(bay.machine.answers) == {"a"}
    bay.walk()
    assert bay.map().right


def test_two_pulled_with_two_hands_are_asked_for_again():
    bay = Bay()
    bay.off |= {"a", "b"}
    bay.wait(0.4)
    assert bay.kinds[-1] is Kind.MISMATCH
    bay.off.clear()
    bay.wait(0.5)
    bay.walk()
    assert bay.map().right


def test_a_contact_that_lets_go_for_a_moment_is_no_pull():
    bay = Bay()
    bay.pull("d", TICK_S)
    bay.seat("d")
    assert Kind.TWITCH in bay.kinds
    assert not bay.machine.answers


def test_a_connector_may_stay_off():
    bay = Bay()
    bay.pull("a")
    bay.key(WalkKey.LEAVE_OFF)
    assert bay.asked == "b"
    bay.walk()
    assert bay.map().right


def test_what_was_known_is_not_asked_again():
    first = Bay()
    first.answer("a")
    first.answer("b")
    again = Bay(answers=first.machine.answers)
    assert again.asked == "c"
    again.walk()
    assert again.map().right


# --- free order ----------------------------------------------------------------------------------------


def test_free_order_takes_what_is_not_contradicted():
    bay = Bay(order=Order.FREE)
    for place in "fbdace":
        bay.answer(place)
    assert bay.machine.stage is Stage.DONE
    assert bay.map().right
    assert {a.how for a in bay.machine.answers.values()} == {How.ACCEPTED}


def test_free_order_asks_at_the_end_for_what_was_contradicted():
    bay = Bay(wiring=swapped(2, 5), order=Order.FREE)
    for place in "cefbda":
        bay.pull(place)
        if place in "be":
            bay.no(place)
        bay.seat(place, NO_UNTIL_S + 0.2)
    assert bay.machine.order is Order.GUIDED
    assert set(bay.machine.answers) == set("acdf")
    bay.walk()
    assert bay.found() == {p.id: bay.wiring[p.id] for p in bay.places}
    assert bay.kinds.count(Kind.MISMATCH) == 0, "a contradiction is the first of the two pulls"


def test_free_order_names_a_place_by_key():
    bay = Bay(wiring=swapped(2, 5), order=Order.FREE)
    bay.pull("b")
    bay.key(WalkKey.HERE, "b")
    bay.seat("b", NO_UNTIL_S + 0.2)
    assert bay.machine.answers["b"].channels == {5}
    assert bay.machine.answers["b"].how is How.NAMED


def test_free_order_turns_to_asking_when_nobody_pulls_any_more():
    bay = Bay(wiring={"d": frozenset()}, order=Order.FREE)
    for place in "abcef":
        bay.answer(place)
    bay.wait(SILENCE_S + 1)
    assert bay.asked == "d"


# --- what cannot be seen, and what is joined ---------------------------------------------------------------


def test_a_load_found_nowhere_is_looked_for_where_a_channel_shows_none():
    """Place d's wire sits in channel 3's cavity, channel 4's cavity is empty, c's wire hangs loose."""
    places = tuple(
        Place(p.id, p.name, "", p.expected, frozenset() if p.id == "d" else p.visible, p.step_id)
        for p in make_places()
    )
    bay = Bay(places, {"c": frozenset(), "d": frozenset({3})})
    bay.walk()
    rows = {row.place.id: row for row in bay.map().rows}
    assert (rows["d"].state, rows["d"].found) == (PlaceState.WRONG, {3})
    assert rows["c"].state is PlaceState.NOTHING
    assert bay.map().plan.chains == ((3, 4),)


def test_a_place_without_a_load_to_see_is_not_asked_for_in_vain():
    places = tuple(
        Place(p.id, p.name, "", p.expected, frozenset() if p.id == "d" else p.visible, p.step_id)
        for p in make_places()
    )
    bay = Bay(places)
    bay.walk()
    assert [h.place for h in bay.said if h.kind is Kind.ASKED] == list("abcef")
    assert bay.map().rows[3].state is PlaceState.BLIND


def test_channels_of_one_connector_may_show_one_after_the_other():
    places = make_places(3, groups=((1, 2),))
    bay = Bay(places)
    for lost in ({1}, {1, 2}, {1, 2}, {1, 2}, {1, 2}):
        bay.now += TICK_S
        bay.said += bay.machine.look(Look(bay.now, frozenset(lost)))
    assert bay.kinds[-1] is Kind.MATCHED
    assert Kind.MISMATCH not in bay.kinds


def test_joined_wires_are_found_by_leaving_off_what_moved_nothing():
    bay = JoinedBay(frozenset({2, 5}), wiring={"c": frozenset()})
    for place in "abcdef":
        assert bay.asked == place
        if place in "bce":
            bay.pull(place)
            bay.key(WalkKey.NOTHING)
            bay.seat(place)
        else:
            bay.answer(place)
    bay.wait(3)
    held = []
    while bay.machine.state(bay.now).holding and not bay.lost():
        held.append(bay.asked)
        bay.pull(bay.asked)
        if not bay.lost():
            bay.key(WalkKey.NOTHING)
    assert held == ["b", "c", "e"]
    bay.off.clear()
    bay.wait(3)
    assert bay.machine.stage is Stage.DONE
    rows = {row.place.id: row for row in bay.map().rows}
    assert {p: rows[p].found for p in "be"} == {"b": {2, 5}, "e": {2, 5}}
    assert {rows[p].state for p in "be"} == {PlaceState.JOINED}
    assert rows["c"].state is PlaceState.NOTHING
    assert not bay.map().plan.moves


def test_holding_off_ends_by_key_and_by_time():
    bay = Bay(wiring={"b": frozenset(), "c": frozenset()})
    for _ in range(6):
        if bay.asked in ("b", "c"):
            bay.key(WalkKey.NOTHING)
        else:
            bay.answer(bay.asked)
    bay.wait(3)
    assert bay.kinds[-1] is Kind.HOLD_OFF
    told = bay.machine.state(bay.now)
    assert (told.holding, told.asked) == (("b",), "b")
    bay.wait(told.silent_left_s + 0.2)  # the clock that is shown is the one that ends it
    assert bay.machine.state(bay.now).holding == ("b", "c")
    bay.wait(31)
    assert Kind.SEAT_ALL in bay.kinds
    assert bay.machine.stage is Stage.DONE
    assert {bay.map().rows[i].state for i in (1, 2)} == {PlaceState.NOTHING}
