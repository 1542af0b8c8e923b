"""What each fault does to a channel beyond its odds, which loads can have it, and its size in words."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from loomproof.diagnose.expected.band import LimitBand
from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.explain.compose import compose, rank
from loomproof.diagnose.faults.amounts import measured_and_due, reference
from loomproof.diagnose.faults.definition import FaultyChannel, Hypothesis
from loomproof.diagnose.faults.odds import off_shape_odds, sound_odds
from loomproof.diagnose.faults.overload import conduct_of
from loomproof.diagnose.faults.registry import FAULTS
from loomproof.diagnose.observed.features import Conduct, Rest
from loomproof.facts.estimate import Estimate
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.kinds import LoadKind, Suppression
from loomproof.facts.signature import OffShape
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.load_traits import LOGIC_KINDS
from loomproof.job.quantity import Quantity

INJECTOR, LOW, RELAY = (CATALOGUE[key] for key in ("injector_high", "injector_low", "relay_plain"))
DIODE, RESISTOR, LAMP = (CATALOGUE[key] for key in ("relay_diode", "relay_resistor", "lamp_21w"))
MOTOR, VALVE = CATALOGUE["motor_fan"], CATALOGUE["valve_purge"]
INPUT = next(load for load in CATALOGUE.values() if load.kind is LoadKind.LOGIC_INPUT)
FLAGS = (
    "added",
    "lost_turns",
    "low",
    "unknown_type",
    "garbled",
    "foreign",
    "leaky",
    "other_set",
    "behind_feed",
)


def job_of(*loads):
    """A job with these loads on channels 1 and up."""
    return SimpleNamespace(
        load_type=lambda channel: loads[channel - 1], channel=lambda channel: SimpleNamespace(group=None)
    )


def made_of(kind, *loads, channels=(1,), channel=1):
    return compose(job_of(*loads), channel, (Hypothesis(kind, channels),))


@pytest.mark.parametrize(
    ("kind", "load", "flags"),
    [
        (FaultKind.OPEN, INJECTOR, ()),
        (FaultKind.ADDED_RESISTANCE, INJECTOR, ("added",)),
        (FaultKind.SHORTED_TURNS, INJECTOR, ("lost_turns",)),
        (FaultKind.SHORT_ACROSS_LOAD, INJECTOR, ("low",)),
        (FaultKind.SUPPRESSION_REVERSED, DIODE, ("low",)),
        (FaultKind.SHORT_TO_SUPPLY, INJECTOR, ("low",)),
        (FaultKind.SHORT_TO_SUPPLY, INPUT, ("garbled",)),
        (FaultKind.SHORT_TO_GROUND, INJECTOR, ("leaky",)),
        (FaultKind.SHORT_TO_GROUND, INPUT, ("low",)),
        (FaultKind.LEAK_TO_GROUND, INJECTOR, ("leaky",)),
        (FaultKind.LEAK_TO_GROUND, INPUT, ("leaky",)),
        (FaultKind.FEED_WEAK, INJECTOR, ("behind_feed",)),
        (FaultKind.FEED_WEAK, INPUT, ()),
        (FaultKind.WRONG_SET, INJECTOR, ("other_set",)),
        (FaultKind.WRONG_LOAD, INJECTOR, ("unknown_type",)),
        (FaultKind.INTERMITTENT, INJECTOR, ()),
        (FaultKind.STUCK_ARMATURE, INJECTOR, ()),
    ],
)
def test_what_a_fault_does_to_what_is_measured(kind, load, flags):
    """Beyond its odds: which of the load's numbers mean what (circuits textbook)."""
    found = made_of(kind, load)
    assert tuple(flag for flag in FLAGS if getattr(found, flag)) == flags
    assert found.load == load
    assert found.own_batch
    assert found.beside is None
    assert found.moved_elsewhere is None


def test_a_sound_channel_shows_its_own_load():
    assert compose(job_of(INJECTOR), 1, ()) == FaultyChannel(sound_odds(INJECTOR), INJECTOR)


@pytest.mark.parametrize("kind", [FaultKind.OPEN, FaultKind.SHORT_TO_GROUND, FaultKind.WRONG_LOAD])
def test_the_odds_of_a_fault_stand_over_those_of_the_load(kind):
    what = FAULTS[kind]
    for load in (INJECTOR, INPUT):
        said = what.odds_on.get(load.kind, what.odds)
        assert made_of(kind, load).odds == sound_odds(load).under(said)


def test_a_load_without_its_suppression_is_the_winding_alone():
    for load in (DIODE, RESISTOR):
        found = made_of(FaultKind.SUPPRESSION_MISSING, load)
        assert found.load == load.model_copy(update={"suppression": Suppression.NONE})
        assert found.odds.off_shape == off_shape_odds(OffShape.CLAMP)


@pytest.mark.parametrize(
    ("kind", "fitting", "other"),
    [
        (FaultKind.SUPPRESSION_MISSING, (DIODE, RESISTOR), (RELAY, INJECTOR, LAMP)),
        (FaultKind.SUPPRESSION_REVERSED, (DIODE,), (RELAY, RESISTOR)),
        (FaultKind.SHORTED_TURNS, (INJECTOR, RELAY, DIODE), (LAMP, INPUT)),
        (FaultKind.STUCK_ARMATURE, (INJECTOR, RELAY, MOTOR), (LAMP, INPUT, CATALOGUE["coil_bare"])),
        (FaultKind.SHORT_ACROSS_LOAD, (INJECTOR, LAMP), (INPUT,)),
        (FaultKind.OPEN, (INJECTOR, LAMP, INPUT), ()),
    ],
)
def test_which_loads_can_have_it(kind, fitting, other):
    assert [load.key for load in fitting if FAULTS[kind].fits(load)] == [load.key for load in fitting]
    assert [load.key for load in other if FAULTS[kind].fits(load)] == []


# -- two channels ---------------------------------------------------------------------------------------


def test_loads_of_one_type_in_each_others_place_measure_the_same():
    fits = FAULTS[FaultKind.SWAPPED].fits
    assert fits(INJECTOR, LOW)
    assert not fits(INJECTOR, INJECTOR)


def test_a_swap_shows_the_others_load_and_moves_ones_own():
    loads, ring = (INJECTOR, LOW, RELAY), (1, 2, 3)
    for channel, seen, elsewhere in ((1, RELAY, 2), (2, INJECTOR, 3), (3, LOW, 1)):
        found = made_of(FaultKind.SWAPPED, *loads, channels=ring, channel=channel)
        assert found.load == seen
        assert found.moved_elsewhere == elsewhere
        assert found.foreign is (seen.kind is not loads[channel - 1].kind)
        assert not found.own_batch
        assert found.odds.pull == FAULTS[FaultKind.SWAPPED].odds.pull
        assert found.odds.rest == sound_odds(seen).rest


def test_a_load_of_the_same_kind_keeps_what_it_shows_and_one_of_another_is_measured_as_the_first():
    same = made_of(FaultKind.SWAPPED, INJECTOR, LOW, channels=(1, 2))
    assert same.odds == replace(sound_odds(LOW), pull=same.odds.pull)
    other = made_of(FaultKind.SWAPPED, INJECTOR, LAMP, channels=(1, 2))
    assert (other.odds.moved, other.odds.off_shape, other.odds.noticed) == (None, None, None)
    assert other.odds.conduct == conduct_of(job_of(INJECTOR, LAMP), 1, LAMP)


def test_two_of_one_batch_stay_so():
    twin = INJECTOR.model_copy()
    found = made_of(FaultKind.SWAPPED, INJECTOR, twin, channels=(1, 2))
    assert found.own_batch
    assert not found.foreign


def test_bridged_wires_drive_both_loads():
    fits = FAULTS[FaultKind.BRIDGED].fits
    assert fits(INJECTOR, RELAY)
    assert fits(INJECTOR, INPUT)
    assert fits(INPUT, INJECTOR)
    for channel, beside in ((1, VALVE), (2, INJECTOR)):
        found = made_of(FaultKind.BRIDGED, INJECTOR, VALVE, channels=(1, 2), channel=channel)
        assert found.beside == beside
        assert found.odds.conduct == FAULTS[FaultKind.BRIDGED].odds.conduct
        assert found.odds.noticed == FAULTS[FaultKind.BRIDGED].odds.noticed


def test_a_load_holds_up_an_input_that_it_touches_and_the_input_draws_its_pin_down():
    """A relay of 95 ohm above 1 kohm to ground: 13.5 V * 95 / 1095 = 1.2 V below the supply (voltage divider)."""
    held = made_of(FaultKind.BRIDGED, RELAY, INPUT, channels=(1, 2), channel=2)
    assert held.garbled
    assert held.odds.rest[Rest.HELD_HIGH] > 0.9
    assert held.odds.conduct[Conduct.NONE] > 0.9
    drawn = made_of(FaultKind.BRIDGED, RELAY, INPUT, channels=(1, 2), channel=1)
    assert drawn.odds.rest[Rest.BETWEEN] > 0.8
    assert drawn.beside is None
    unseen = made_of(FaultKind.BRIDGED, INJECTOR, INPUT, channels=(1, 2), channel=1)
    assert unseen.odds.rest[Rest.CONNECTED] > 0.8


def test_an_input_and_a_load_in_each_others_place_both_stay_dead():
    at_load = made_of(FaultKind.SWAPPED, RELAY, INPUT, channels=(1, 2), channel=1)
    assert at_load.odds.rest[Rest.GROUNDED] > 0.9
    at_input = made_of(FaultKind.SWAPPED, RELAY, INPUT, channels=(1, 2), channel=2)
    assert at_input.odds.rest[Rest.HELD_HIGH] > 0.9
    for found in (at_load, at_input):
        assert found.garbled
        assert found.odds.conduct[Conduct.NONE] > 0.9
        assert found.odds.pull == FAULTS[FaultKind.SWAPPED].odds.pull


def test_bridged_loads_that_draw_too_much_trip_and_nobody_hears_them():
    """The lamp's cold filament beside a relay: more than the relay's channel may carry."""
    found = made_of(FaultKind.BRIDGED, RELAY, LAMP, channels=(1, 2))
    assert found.odds.conduct[Conduct.EXCESS] == 0.9
    assert found.odds.noticed is None
    assert found.beside == LAMP


@pytest.mark.parametrize(("limit_a", "excess"), [(2.99, 0.9), (3.0, 0.03), (3.01, 0.03)])
def test_too_much_is_what_exceeds_the_limit_of_the_channels_own_load(limit_a, excess):
    """At 13.5 V 9 ohm take 1.5 A each: two of them 3 A (Ohm's law)."""
    ohm = Quantity(value=9.0, tolerance_percent=0.0, source="a round number")
    limits = LAMP.limits.model_copy(update={"max_current_a": limit_a})
    load = LAMP.model_copy(update={"resistance_ohm": ohm, "limits": limits})
    odds = conduct_of(job_of(load), 1, load, load)
    assert odds[Conduct.EXCESS] == excess
    assert sum(odds.values()) == pytest.approx(1.0)
    unknown = load.model_copy(update={"resistance_ohm": None})
    assert conduct_of(job_of(load), 1, load, unknown)[Conduct.EXCESS] == 0.03


# -- the order in which faults are composed ---------------------------------------------------------------


def test_what_is_wired_where_comes_before_the_load_before_the_path_before_what_hides_all():
    order = [
        FaultKind.SWAPPED,
        FaultKind.WRONG_LOAD,
        FaultKind.SHORTED_TURNS,
        FaultKind.STUCK_ARMATURE,
        FaultKind.SUPPRESSION_MISSING,
        FaultKind.ADDED_RESISTANCE,
        FaultKind.INTERMITTENT,
        FaultKind.BRIDGED,
        FaultKind.FEED_WEAK,
        FaultKind.SHORT_TO_GROUND,
        FaultKind.OPEN,
        FaultKind.FEED_OPEN,
    ]
    shuffled = [Hypothesis(kind, (1,)) for kind in sorted(order)]
    assert [fault.kind for fault in sorted(shuffled, key=rank)] == order
    assert rank(Hypothesis(FaultKind.OPEN, (1,))) < rank(Hypothesis(FaultKind.OPEN, (2,)))


def test_a_dead_feed_leaves_an_input_its_circuit():
    what = FAULTS[FaultKind.FEED_OPEN]
    assert set(what.odds_on) == LOGIC_KINDS
    for kind, odds in what.odds_on.items():
        assert odds.rest is odds.conduct is odds.pull is None
        assert (odds.noticed is None) is (kind is LoadKind.LOGIC_INPUT)


def test_only_a_joint_and_a_feed_add_resistance_and_only_a_path_to_ground_loads_its_feed():
    assert {kind for kind, what in FAULTS.items() if what.adds_ohm} == {
        FaultKind.ADDED_RESISTANCE,
        FaultKind.FEED_WEAK,
    }
    assert {kind for kind, what in FAULTS.items() if what.loads_feed} == {
        FaultKind.SHORT_TO_GROUND,
        FaultKind.LEAK_TO_GROUND,
    }
    assert {kind for kind, what in FAULTS.items() if what.supply_ohm} == {FaultKind.WEAK_SUPPLY}
    assert {kind for kind, what in FAULTS.items() if what.share_per_more != 1.0} == {FaultKind.SWAPPED}


# -- sizes in words -----------------------------------------------------------------------------------------


def band(middle):
    return LimitBand(middle - 1.0, middle + 1.0, middle, 0.0, "round numbers")


def measured(**ohm_by_channel):
    return {
        int(name[1:]): SimpleNamespace(
            resistance=None if ohm is None else Estimate(ohm, 0.1), source_ohm=None
        )
        for name, ohm in ohm_by_channel.items()
    }


def test_a_resistance_is_held_against_an_earlier_record_then_sisters_then_the_catalogue():
    bands = {"baseline": {1: band(11.0)}, "sisters": {1: band(12.0)}, "resistance": {1: band(13.0)}}
    for middle in (11.0, 12.0, 13.0):
        assert reference(1, Expectations(Estimate(20.0, 1.0), **bands)).middle == middle
        bands.pop(next(iter(bands)))
    assert reference(1, Expectations(Estimate(20.0, 1.0))) is None


def test_what_was_measured_and_what_is_due():
    expected = Expectations(Estimate(20.0, 1.0), resistance={1: band(14.0)})
    fault = Hypothesis(FaultKind.WRONG_LOAD, (1,))
    assert measured_and_due(fault, measured(_1=2.4), expected) == "2.4 ohm where 14 ohm is due"
    assert measured_and_due(fault, measured(_1=None), expected) == ""
    assert measured_and_due(fault, measured(_1=2.4), Expectations(Estimate(20.0, 1.0))) == ""


def test_a_joint_is_as_large_as_what_is_measured_too_much():
    expected = Expectations(Estimate(20.0, 1.0), sisters={1: replace(band(14.0), among="its sisters")})
    amount = FAULTS[FaultKind.ADDED_RESISTANCE].amount
    fault = Hypothesis(FaultKind.ADDED_RESISTANCE, (1,))
    assert amount(fault, measured(_1=16.5), expected) == "+2.5 ohm against its sisters"
    assert amount(fault, measured(_1=None), expected) == ""
    assert amount(fault, measured(_1=16.5), Expectations(Estimate(20.0, 1.0))) == ""


def test_a_weak_feed_adds_the_median_of_its_loads():
    expected = Expectations(Estimate(20.0, 1.0), resistance={n: band(10.0) for n in (1, 2, 3, 4)})
    amount = FAULTS[FaultKind.FEED_WEAK].amount
    fault = Hypothesis(FaultKind.FEED_WEAK, (1, 2, 3), "F1")
    assert amount(fault, measured(_1=11.0, _2=13.0, _3=12.0), expected) == "about +2 ohm on each of its loads"
    assert amount(fault, measured(_1=11.0, _2=None, _3=12.0), expected) == "about +2 ohm on each of its loads"
    assert amount(fault, measured(_1=None, _2=None, _3=None), expected) == ""
    alone = Expectations(Estimate(20.0, 1.0), resistance={2: band(10.0)})
    assert amount(fault, measured(_1=11.0, _2=13.0, _3=12.0), alone) == "about +3 ohm on each of its loads"


def test_a_weak_supply_is_what_its_surest_channel_measures():
    amount = FAULTS[FaultKind.WEAK_SUPPLY].amount
    expected = Expectations(Estimate(20.0, 1.0))
    seen = {
        1: SimpleNamespace(source_ohm=Estimate(0.7, 0.2)),
        2: SimpleNamespace(source_ohm=Estimate(0.5, 0.05)),
        3: SimpleNamespace(source_ohm=None),
    }
    fault = Hypothesis(FaultKind.WEAK_SUPPLY, ())
    assert amount(fault, seen, expected) == "0.50 ohm in the battery and its leads"
    assert amount(fault, {3: seen[3]}, expected) == ""


@pytest.mark.parametrize(
    ("places", "heading"),
    [(["here", "there"], "here and there: swapped"), (["a", "b", "c"], "a; b; c: rotated among themselves")],
)
def test_a_swap_of_two_and_a_rotation_of_three_are_named(places, heading):
    assert FAULTS[FaultKind.SWAPPED].title(places) == heading
    assert FAULTS[FaultKind.OPEN].title(["here"]) == "here: open circuit"
