"""Each rule's verdict, one channel at a time, on both sides of its limits."""

import math
from dataclasses import replace

import numpy as np
import pytest

from loomproof.diagnose.expected.band import LimitBand
from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.observed.features import Conduct, Rest
from loomproof.diagnose.predict.loom import Predictions
from loomproof.diagnose.predict.odds import Predicted, ValueShift
from loomproof.diagnose.predict.part_set import HENRY_SPREADS, OHM_SPREADS, Part, PartSet
from loomproof.diagnose.predict.resistances import WeakFeed
from loomproof.diagnose.rules.action import judge_action, judge_contact, judge_location
from loomproof.diagnose.rules.case import ChannelCase
from loomproof.diagnose.rules.electrical import (
    judge_continuity,
    judge_feed,
    judge_inductance,
    judge_inrush,
    judge_resistance,
    judge_suppression,
)
from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import ChannelEvidence, Noticed, PullResult
from loomproof.facts.kinds import LoadKind, Suppression
from loomproof.facts.signature import HasMoved, OffShape, Signature
from loomproof.facts.verdict import Property, Verdict
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.quantity import Quantity
from tests.diagnose.blank import BLANK

PASS, FAIL, UNSURE, NOT_TESTED = Verdict.PASS, Verdict.FAIL, Verdict.UNSURE, Verdict.NOT_TESTED
SOUND = replace(BLANK, channel=1, rest=Rest.CONNECTED, conduct=Conduct.FLOWS)
BAND = LimitBand(8.0, 12.0, 10.0, 0.0, "round numbers")


def load_of(kind, **changes):
    return CATALOGUE["injector_high"].model_copy(update={"kind": kind, "moves": False, **changes})


def case_of(kind=LoadKind.VALVE, *, own=None, signature=True, expected=None, load=None, **features):
    seen = Signature(1, **(signature if isinstance(signature, dict) else {})) if signature else None
    return ChannelCase(
        1,
        load_of(kind, **(load or {})),
        replace(own or ChannelEvidence(1), signature=seen),
        replace(SOUND, **features),
        expected or Expectations(Estimate(20.0, 5.0)),
    )


def verdict_of(rule, **what):
    verdict = rule(case_of(**what))
    return None if verdict is None else verdict.verdict


# -- continuity ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rest", "flows", "not_driven", "none"),
    [
        (Rest.CONNECTED, PASS, NOT_TESTED, FAIL),
        (Rest.FLOATING, UNSURE, FAIL, FAIL),
        (Rest.GROUNDED, FAIL, FAIL, FAIL),
        (Rest.BETWEEN, UNSURE, UNSURE, FAIL),
        (Rest.UNKNOWN, PASS, NOT_TESTED, FAIL),
        (Rest.HELD_LOW, PASS, NOT_TESTED, FAIL),
    ],
)
def test_continuity(rest, flows, not_driven, none):
    for conduct, expected in (
        (Conduct.FLOWS, flows),
        (Conduct.UNKNOWN, not_driven),
        (Conduct.NONE, none),
        (Conduct.EXCESS, FAIL),
    ):
        assert verdict_of(judge_continuity, rest=rest, conduct=conduct) is expected


def test_why_no_current_flows():
    told = {
        rest: judge_continuity(case_of(rest=rest, conduct=Conduct.NONE)).reason
        for rest in (Rest.CONNECTED, Rest.FLOATING, Rest.BETWEEN)
    }
    assert "rests at the supply" in told[Rest.CONNECTED]
    assert "open" in told[Rest.FLOATING]
    assert told[Rest.BETWEEN] == "no current flows"


# -- action -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("moved", "noticed", "verdict"),
    [
        (HasMoved.YES, Noticed.NOTHING, PASS),
        (HasMoved.NO, Noticed.NOT_ASKED, FAIL),
        (HasMoved.NO, Noticed.NOTHING, FAIL),
        (HasMoved.NO, Noticed.HEARD, UNSURE),
        (HasMoved.NO, Noticed.SEEN, UNSURE),
        (HasMoved.CANNOT_TELL, Noticed.HEARD, PASS),
        (HasMoved.CANNOT_TELL, Noticed.SEEN, PASS),
        (HasMoved.CANNOT_TELL, Noticed.NOTHING, UNSURE),
        (None, Noticed.NOT_ASKED, UNSURE),
    ],
)
def test_what_moves_is_seen_in_its_current_or_noticed(moved, noticed, verdict):
    assert verdict_of(judge_action, load={"moves": True}, moved=moved, noticed=noticed) is verdict


def test_when_it_moved_is_told_in_milliseconds():
    case = case_of(
        load={"moves": True}, moved=HasMoved.YES, signature={"move_time_s": Estimate(1.5e-3, 1e-5)}
    )
    assert "1.50 ms after" in judge_action(case).reason


@pytest.mark.parametrize("conduct", [Conduct.NONE, Conduct.EXCESS])
def test_what_has_no_circuit_cannot_act(conduct):
    assert verdict_of(judge_action, conduct=conduct, noticed=Noticed.HEARD) is FAIL


@pytest.mark.parametrize(
    ("kind", "noticed", "driven", "verdict"),
    [
        (LoadKind.COIL, Noticed.HEARD, True, PASS),
        (LoadKind.COIL, Noticed.SEEN, False, PASS),
        (LoadKind.COIL, Noticed.NOTHING, True, UNSURE),
        (LoadKind.STEPPER, Noticed.NOTHING, True, UNSURE),
        (LoadKind.COIL, Noticed.NOT_ASKED, True, NOT_TESTED),
        (LoadKind.COIL, Noticed.NOT_ASKED, False, NOT_TESTED),
        (LoadKind.LAMP, Noticed.NOTHING, False, UNSURE),
    ],
)
def test_what_does_not_show_in_the_current_must_be_noticed(kind, noticed, driven, verdict):
    assert verdict_of(judge_action, kind=kind, noticed=noticed, signature=driven) is verdict


@pytest.mark.parametrize(
    ("inrush_a", "steady_a", "noticed", "verdict"),
    [
        (1.52, 1.0, Noticed.NOT_ASKED, PASS),
        (1.5, 1.0, Noticed.NOT_ASKED, UNSURE),
        (1.2, 1.0, Noticed.NOTHING, UNSURE),
        (1.18, 1.0, Noticed.NOTHING, FAIL),
        (1.18, 1.0, Noticed.SEEN, UNSURE),
        (1.18, 1.0, Noticed.HEARD, UNSURE),
        (3.0, 0.0, Noticed.SEEN, PASS),
        (3.0, 0.0, Noticed.NOTHING, UNSURE),
        (None, 1.0, Noticed.HEARD, PASS),
        (None, 1.0, Noticed.NOT_ASKED, UNSURE),
        (1.2, None, Noticed.NOT_ASKED, UNSURE),
    ],
)
def test_a_lamp_and_a_motor_act_when_their_current_falls(inrush_a, steady_a, noticed, verdict):
    """To 1/1.5 surely: acts; to 1/1.2 at most: does not."""
    for kind in (LoadKind.LAMP, LoadKind.MOTOR):
        features = {
            "inrush": None if inrush_a is None else Estimate(inrush_a, 1e-6),
            "steady": None if steady_a is None else Estimate(steady_a, 1e-6),
        }
        assert verdict_of(judge_action, kind=kind, noticed=noticed, **features) is verdict


@pytest.mark.parametrize(("fall", "verdict"), [(1.67, PASS), (1.66, UNSURE), (1.09, FAIL), (1.1, UNSURE)])
def test_a_fall_is_doubted_by_twice_its_uncertainty(fall, verdict):
    """3 % and 4 % are 5 % of the fall together: 0.9 * 1.67 > 1.5, 0.9 * 1.66 not; 1.1 * 1.09 < 1.2, 1.1 * 1.1 not."""
    seen = {"inrush": Estimate(fall, 0.03 * fall), "steady": Estimate(1.0, 0.04)}
    assert verdict_of(judge_action, kind=LoadKind.LAMP, noticed=Noticed.NOTHING, **seen) is verdict


# -- location and contact -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("outcome", "moved", "verdict", "told"),
    [
        ("matched", (1,), PASS, "no other"),
        ("other", (4,), FAIL, "channel 4 instead"),
        ("several", (1, 4), FAIL, "several channels: 1, 4"),
        ("none", (), UNSURE, "nothing"),
        ("skipped", (), NOT_TESTED, "not pulled"),
    ],
)
def test_location(outcome, moved, verdict, told):
    got = judge_location(case_of(pull=PullResult(1, moved, outcome)))
    assert got.verdict is verdict
    assert told in got.reason
    assert verdict_of(judge_location) is NOT_TESTED


@pytest.mark.parametrize(
    ("dropouts", "watched", "unwatchable", "verdict"),
    [
        (1, True, False, FAIL),
        (2, False, False, FAIL),
        (0, True, False, PASS),
        (0, False, True, NOT_TESTED),
        (0, False, False, None),
    ],
)
def test_contact(dropouts, watched, unwatchable, verdict):
    own = ChannelEvidence(1, watched=watched, unwatchable=unwatchable)
    assert verdict_of(judge_contact, own=own, dropouts=dropouts) is verdict


def test_how_often_it_let_go():
    told = [judge_contact(case_of(dropouts=count)).reason for count in (1, 2)]
    assert "let go once" in told[0]
    assert "let go 2 times" in told[1]


# -- resistance and inductance ------------------------------------------------------------------------


def expected_of(**bands):
    return Expectations(Estimate(20.0, 5.0), **{name: {1: band} for name, band in bands.items()})


RECORD = LimitBand(9.5, 10.5, 10.0, 0.0, "a record", 0.5, 0.5, statistical=True)


def predicted_of(about, value, u=0.1, **more):
    """Parts of 10 that fill +-20 % evenly, of which one measures so much."""
    part = Part(1, math.log(value / 10.0), u / value)
    parts = PartSet((part,), 0.2, OHM_SPREADS)
    grid, row = 10.0 * np.exp(parts.grid), parts.predictions(parts.flat())[0]
    mass = row / row.sum()
    adds = about is Property.RESISTANCE
    fault = ValueShift(0.05, 1.5) if adds else ValueShift(0.04, 0.6)
    return Predicted(grid, mass, row / grid, fault, 10.0, adds=adds, alone=True)


def odds_case(value, *, u=0.1, weak=None, **what):
    """A case whose resistance is known to be of such parts."""
    predicted = Predictions(resistance={1: predicted_of(Property.RESISTANCE, value, u)})
    what.setdefault("expected", expected_of(resistance=BAND))
    case = case_of(resistance=Estimate(value, u), **what)
    return replace(case, predicted=predicted, weak_feed=weak)


@pytest.mark.parametrize(
    ("ohm", "verdict"), [(10.0, PASS), (12.0, PASS), (12.4, UNSURE), (15.0, FAIL), (8.1, PASS), (6.0, FAIL)]
)
def test_a_resistance_is_decided_by_its_odds(ohm, verdict):
    """12 ohm is a sound part near its edge; 12.4 may be one, with its own deviation, or a joint; 15 is no sound part."""
    got = judge_resistance(odds_case(ohm))
    assert got.verdict is verdict
    assert got.low < 10.0 < got.high
    assert got.log_odds is not None


def test_the_worst_of_odds_and_record_decides():
    both = expected_of(resistance=BAND, baseline=RECORD)
    assert judge_resistance(odds_case(11.5, expected=both)).verdict is FAIL
    assert judge_resistance(odds_case(10.0, expected=both)).verdict is PASS
    assert (
        verdict_of(judge_resistance, resistance=Estimate(10.0, 0.01), expected=expected_of(baseline=RECORD))
        is PASS
    )
    assert verdict_of(judge_resistance, expected=both) is NOT_TESTED
    assert verdict_of(judge_resistance, resistance=Estimate(10.0, 0.01)) is None


def test_an_unsteady_resistance_is_never_passed():
    for ohm, verdict in ((10.0, UNSURE), (15.0, FAIL)):
        assert judge_resistance(odds_case(ohm, unsteady=True)).verdict is verdict


def test_a_filament_seen_cold_leaves_no_doubt():
    lamp = expected_of(resistance=replace(BAND, doubt=3.0))
    for cold, verdict in ((False, UNSURE), (True, FAIL)):
        assert (
            judge_resistance(odds_case(14.0, kind=LoadKind.LAMP, cold=cold, expected=lamp)).verdict is verdict
        )


def test_a_pass_says_how_small_a_joint_would_still_be_seen():
    """The hundredth of sound parts that measure least, up to the limit: about 12.2 - 8.0 ohm where nothing else is known."""
    got = judge_resistance(odds_case(10.0))
    assert got.least_joint_ohm == pytest.approx(4.2, abs=0.2)
    assert f"a joint of less than {got.least_joint_ohm:.2g} ohm would not be seen" in got.reason


@pytest.mark.parametrize(
    ("log_odds", "joint", "verdict"),
    [(1.0, 3.0, PASS), (3.0, 3.0, UNSURE), (9.0, 3.0, FAIL), (9.0, 0.1, PASS)],
)
def test_a_weak_feed_is_seen_on_all_its_loads_or_not_at_all(log_odds, joint, verdict):
    got = judge_resistance(odds_case(10.0, weak=WeakFeed("F1", log_odds, 3, joint)))
    assert got.verdict is verdict
    assert ("feed F1" in got.reason) is (verdict is not PASS)


@pytest.mark.parametrize(("henry", "verdict"), [(14e-3, UNSURE), (5e-3, FAIL), (None, FAIL)])
def test_lower_than_before_with_a_sound_inductance_is_no_fault_yet(henry, verdict):
    expected = expected_of(resistance=BAND, inductance=BAND, baseline=RECORD)
    measured = None if henry is None else Estimate(henry, 1e-5)
    more = {1: henry_predicted(henry)} if henry else {}
    for ohm, due in ((8.5, verdict), (11.5, FAIL)):
        signature = {"inductance_h": measured}
        case = odds_case(ohm, inductance=measured, signature=signature, expected=expected)
        predicted = replace(case.predicted, inductance=more)
        assert judge_resistance(replace(case, predicted=predicted)).verdict is due


def test_low_among_its_sisters_is_a_doubt():
    """8.5 ohm is inside the job's limits, but five sisters measure 11.5: another batch, or they have a joint each."""
    values = (8.5, *(5 * [11.5]))
    parts = PartSet(
        tuple(Part(c, math.log(v / 10.0), 0.005) for c, v in enumerate(values, 1)), 0.2, OHM_SPREADS
    )
    row, grid = parts.predictions(parts.flat())[0], 10.0 * np.exp(parts.grid)
    predicted = Predicted(
        grid, row / row.sum(), row / grid, ValueShift(0.05, 1.5), 10.0, adds=True, alone=False
    )
    case = replace(odds_case(8.5), predicted=Predictions(resistance={1: predicted}))
    assert judge_resistance(case).verdict is UNSURE


def henry_predicted(henry):
    """Parts of 14 mH that fill +-15 % evenly."""
    parts = PartSet((Part(1, math.log(henry / 14e-3), 1e-3),), 0.15, HENRY_SPREADS)
    row, grid = parts.predictions(parts.flat())[0], 14e-3 * np.exp(parts.grid)
    return Predicted(grid, row / row.sum(), row / grid, ValueShift(0.04, 0.6), 14e-3, adds=False, alone=True)


@pytest.mark.parametrize(
    ("henry", "own", "sense"),
    [
        (14e-3, PASS, NOT_TESTED),
        (5e-3, FAIL, FAIL),
        (12.0e-3, PASS, NOT_TESTED),
        (11.2e-3, UNSURE, NOT_TESTED),
    ],
)
def test_a_sense_pulse_only_accuses_an_inductance(henry, own, sense):
    due = LimitBand(12e-3, 16e-3, 14e-3, 0.0, "round")
    measured, predicted = Estimate(henry, 1e-5), Predictions(inductance={1: henry_predicted(henry)})

    def got(**what):
        case = case_of(inductance=measured, expected=expected_of(inductance=due), **what)
        return judge_inductance(replace(case, predicted=predicted)).verdict

    assert got(signature={"inductance_h": measured}) is own
    assert got() is sense


def test_only_wound_loads_of_a_known_inductance_are_judged_by_it():
    due = LimitBand(12e-3, 16e-3, 14e-3, 0.0, "round")
    measured = Estimate(14e-3, 1e-5)
    assert verdict_of(judge_inductance, expected=expected_of(inductance=due)) is NOT_TESTED
    assert verdict_of(judge_inductance, inductance=measured) is None
    lamp = {"kind": LoadKind.LAMP, "expected": expected_of(inductance=due), "inductance": measured}
    assert verdict_of(judge_inductance, **lamp) is None


# -- after the pulse, inrush, supply ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("suppression", "due"),
    [
        (Suppression.NONE, OffShape.CLAMP),
        (Suppression.DIODE, OffShape.DIODE),
        (Suppression.RESISTOR, OffShape.RESISTOR),
    ],
)
def test_the_energy_comes_back_as_the_suppression_lets_it(suppression, due):
    for shape in OffShape:
        expected = PASS if shape is due else UNSURE if shape is OffShape.CANNOT_TELL else FAIL
        got = verdict_of(judge_suppression, load={"suppression": suppression}, off_shape=shape)
        assert got is expected


def test_no_energy_after_a_trip_says_nothing():
    what = {"load": {"suppression": Suppression.DIODE}, "off_shape": OffShape.NOTHING}
    assert verdict_of(judge_suppression, signature={"tripped": True}, **what) is UNSURE
    assert verdict_of(judge_suppression, signature={"tripped": False}, **what) is FAIL
    diode = {"load": {"suppression": Suppression.NONE}, "off_shape": OffShape.DIODE}
    assert verdict_of(judge_suppression, signature={"tripped": True}, **diode) is FAIL


def test_suppression_is_judged_on_wound_loads_that_carried_current():
    assert verdict_of(judge_suppression, signature=False) is NOT_TESTED
    assert verdict_of(judge_suppression, conduct=Conduct.NONE) is NOT_TESTED
    judged = {LoadKind.INJECTOR, LoadKind.RELAY, LoadKind.VALVE, LoadKind.STEPPER}
    for kind in LoadKind:
        assert (verdict_of(judge_suppression, kind=kind) is not None) is (kind in judged)


@pytest.mark.parametrize(
    ("ohm", "relative", "verdict"),
    [
        (300.0, 0.01, PASS),
        (1300.0, 0.01, FAIL),
        (100.0, 0.01, FAIL),
        (1300.0, 0.16, PASS),
        (640.0, 0.01, PASS),
    ],
)
def test_a_resistor_is_held_to_half_and_twice_its_value(ohm, relative, verdict):
    """300 ohm +-10 %: from 135 to 660 ohm; one seen to more than 15 % is only told by its shape."""
    resistor = Quantity(value=300.0, tolerance_percent=10, source="round")
    got = verdict_of(
        judge_suppression,
        load={"suppression": Suppression.RESISTOR, "suppression_ohm": resistor},
        off_shape=OffShape.RESISTOR,
        signature={"suppression_ohm": Estimate(ohm, relative * ohm)},
    )
    assert got is verdict


def steady_case(steady_a, kind=LoadKind.LAMP, **what):
    steady = None if steady_a is None else Estimate(steady_a, 0.1)
    known = {} if steady_a is None else {1: predicted_of(Property.INRUSH, steady_a)}
    case = case_of(kind, steady=steady, expected=expected_of(steady=BAND), **what)
    return replace(case, predicted=Predictions(steady=known))


@pytest.mark.parametrize(
    ("steady_a", "verdict"), [(10.0, PASS), (15.0, FAIL), (5.0, FAIL), (None, NOT_TESTED)]
)
def test_the_steady_current_of_lamps_and_motors(steady_a, verdict):
    for kind in LoadKind:
        got = judge_inrush(steady_case(steady_a, kind))
        assert (got and got.verdict) is (verdict if kind in (LoadKind.LAMP, LoadKind.MOTOR) else None)
    assert verdict_of(judge_inrush, kind=LoadKind.LAMP, steady=Estimate(10.0, 0.1)) is NOT_TESTED


def test_the_inrush_is_told_in_times_the_steady_current():
    got = judge_inrush(steady_case(10.0, inrush=Estimate(65.0, 1.0)))
    assert got.reason == "as a sound part would measure; inrush 65.00 A, 6.5 times"


@pytest.mark.parametrize(
    ("ohm", "u", "verdict"),
    [
        (0.05, 0.01, PASS),
        (0.25, 0.01, UNSURE),
        (0.29, 0.01, FAIL),
        (-0.1, 0.05, PASS),
        (0.05, 0.06, PASS),
        (0.05, 0.061, NOT_TESTED),
        (0.46, 0.1, UNSURE),
        (0.40, 0.1, NOT_TESTED),
        (0.60, 0.1, UNSURE),
        (0.62, 0.1, FAIL),
    ],
)
def test_the_supply(ohm, u, verdict):
    """0.25 ohm. Coarsely seen: doubted from 1.645, failed from 3.540 uncertainties beyond (normal distribution)."""
    assert verdict_of(judge_feed, source_ohm=Estimate(ohm, u)) is verdict


def test_all_loads_together_see_the_supply_finer():
    together = Expectations(Estimate(20.0, 5.0), source_ohm=Estimate(0.5, 0.05))
    got = judge_feed(case_of(source_ohm=Estimate(0.3, 0.2), expected=together))
    assert (got.verdict, got.low, got.high) == (FAIL, None, 0.25)
    assert got.measured.value == 0.5
    sound = Expectations(Estimate(20.0, 5.0), source_ohm=Estimate(0.1, 0.05))
    assert verdict_of(judge_feed, source_ohm=Estimate(0.3, 0.2), expected=sound) is NOT_TESTED


def test_a_logic_input_has_no_feed_and_an_unseen_supply_is_not_tested():
    assert verdict_of(judge_feed) is NOT_TESTED
    seen = Estimate(0.05, 0.01)
    assert verdict_of(judge_feed, kind=LoadKind.LOGIC_INPUT, source_ohm=seen) is None
    assert verdict_of(judge_feed, kind=LoadKind.IGNITER_COIL, source_ohm=seen) is NOT_TESTED
