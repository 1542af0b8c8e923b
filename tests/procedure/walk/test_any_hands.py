"""Any hands at any loom: the walk's map is right, or says that it cannot tell."""

from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.procedure.walk.machine import NO_UNTIL_S
from loomproof.procedure.walk.map import PlaceState
from loomproof.procedure.walk.model import Order, Stage, WalkKey
from tests.procedure.walk.bay import TICK_S, Bay


@st.composite
def looms(draw):
    """Any wiring of six channels to six places: permuted, some wires missing."""
    order = draw(st.permutations(range(1, 7)))
    missing = draw(st.sets(st.integers(0, 5), max_size=2))
    return {chr(97 + i): frozenset() if i in missing else frozenset({c}) for i, c in enumerate(order)}


ERRORS = st.lists(
    st.tuples(st.sampled_from(["right", "right", "right", "wrong", "twitch", "two", "stray", "supply", "no"]),
              st.sampled_from("abcdef")),
    max_size=25,
)  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(looms(), ERRORS, st.sampled_from(list(Order)))
def test_every_map_is_right_or_says_that_it_cannot_tell(wiring, errors, order):
    bay = Bay(wiring=wiring, order=order)
    wrong_before = None
    taken_for: dict[str, str] = {}
    for what, place in errors:
        if bay.machine.stage is Stage.DONE:
            break
        asked = bay.asked
        if what == "wrong" and place not in (wrong_before, asked) and tells(bay, place, taken_for):
            wrong_before = place
            bay.answer(place)
            continue
        wrong_before = None if what == "right" else wrong_before
        if what == "twitch":
            bay.pull(place, TICK_S)
            bay.seat(place)
        elif what == "two" and place != "a" and wiring[place] and wiring["a"]:
            bay.off |= {place, "a"}
            bay.wait(0.4)
            bay.off.clear()
            bay.wait(NO_UNTIL_S + 0.5)
            wrong_before = place
        elif what == "stray" and asked is not None and wiring[asked]:
            bay.pull(asked, 1.0)
            bay.pull(place)
            bay.off.clear()
            bay.wait(0.6)
        elif what == "supply":
            bay.supply = False
            bay.wait(0.5)
            bay.supply = True
            bay.wait(1.0)
        elif what == "no" and asked is not None and wiring[asked]:
            bay.pull(asked)
            bay.no(asked)
            bay.seat(asked, NO_UNTIL_S + 0.5)
        else:
            honest(bay, asked if asked is not None else place)
    for _ in range(60):
        if bay.machine.stage is Stage.DONE:
            break
        honest(bay, bay.asked or next((p for p in "abcdef" if p not in bay.machine.answers), "a"))
        if bay.asked is None and bay.machine.order is Order.FREE:
            bay.key(WalkKey.ORDER)
    assert bay.machine.stage is Stage.DONE
    for row in bay.map().rows:
        if row.state is not PlaceState.CONFLICT:
            assert row.found == wiring[row.place.id], (row.place.id, row.state)


def tells(bay, hand, taken_for):
    """Whether this hand, while another place is asked for, can still be told from a right one.

    Hands that each hold the connector whose wire the asked one should have, round in a ring, make exactly the pulls
    of a sound loom: nothing that looks at pulls can see it. The last of such a ring is left out.
    """
    if bay.asked is None:
        return False
    if bay.wiring[hand] != bay.machine._expected(bay.asked):
        return True
    taken_for[bay.asked] = hand
    while hand in taken_for:
        hand = taken_for[hand]
        if hand == taken_for[bay.asked]:
            del taken_for[bay.asked]
            return False
    return True


def honest(bay, place):
    """Pull what is asked for; in free order contradict what is told wrongly."""
    if not bay.wiring[place]:
        if bay.asked == place:
            bay.key(WalkKey.NOTHING)
        else:
            bay.wait(NO_UNTIL_S + 0.5)  # nothing is asked for: the last answer settles with time alone
        return
    bay.pull(place)
    pull = bay.machine._pull
    if bay.machine.order is Order.FREE and pull is not None and pull.place not in (None, place):
        bay.no(place)
    bay.seat(place, NO_UNTIL_S + 0.5)
