"""Each rule's verdict, one channel at a time, on both sides of its limits."""

from dataclasses import replace

import pytest

from loomproof.diagnose.expected.band import Among, LimitBand
from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.observed.features import Conduct, Features, Rest
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
from loomproof.facts.verdict import Verdict
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.quantity import Quantity

PASS, FAIL, UNSURE, NOT_TESTED = Verdict.PASS, Verdict.FAIL, Verdict.UNSURE, Verdict.NOT_TESTED
SOUND = Features(
    channel=1,
    rest=Rest.CONNECTED,
    conduct=Conduct.FLOWS,
    resistance=None,
    inductance=None,
    moved=None,
    off_shape=OffShape.CANNOT_TELL,
    noticed=Noticed.NOT_ASKED,
    pull=None,
    dropouts=0,
    watched=False,
    steady=None,
    inrush=None,
    source_ohm=None,
    unsteady=False,
)
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


SISTERS = LimitBand(9.5, 10.5, 10.0, 0.0, "sisters", 0.5, 0.5, among=Among.SISTERS, statistical=True)


def test_the_worst_band_decides_over_a_resistance():
    inside, off = Estimate(10.0, 0.01), Estimate(11.5, 0.01)
    assert verdict_of(judge_resistance, resistance=inside, expected=expected_of(resistance=BAND)) is PASS
    both = expected_of(resistance=BAND, sisters=SISTERS)
    assert verdict_of(judge_resistance, resistance=off, expected=both) is FAIL
    assert verdict_of(judge_resistance, resistance=off, expected=expected_of(sisters=SISTERS)) is None
    assert verdict_of(judge_resistance, resistance=inside, expected=expected_of(baseline=SISTERS)) is PASS
    assert verdict_of(judge_resistance, expected=both) is NOT_TESTED


def test_an_unsteady_resistance_is_never_passed():
    for ohm, verdict in ((10.0, UNSURE), (15.0, FAIL)):
        got = judge_resistance(
            case_of(resistance=Estimate(ohm, 0.01), unsteady=True, expected=expected_of(resistance=BAND))
        )
        assert (got.verdict, got.risk) == (verdict, None)


def test_a_filament_seen_cold_leaves_no_doubt():
    lamp = replace(BAND, doubt=3.0)
    for cold, verdict in ((False, UNSURE), (True, FAIL)):
        got = verdict_of(
            judge_resistance,
            resistance=Estimate(14.0, 0.01),
            cold=cold,
            expected=expected_of(resistance=lamp),
        )
        assert got is verdict


@pytest.mark.parametrize(
    ("bands", "told"),
    [
        ({"resistance": BAND}, "less than 4.2 ohm would not"),
        ({"resistance": BAND, "sisters": SISTERS}, "less than 1.2 ohm, or a feed weak by less than 4.2 ohm"),
        ({"baseline": LimitBand(9.0, 10.5, 10.0, 0.0, "")}, "less than 1.7 ohm would not"),
    ],
)
def test_a_pass_tells_how_large_a_joint_it_could_hide(bands, told):
    """From the lowest that a sound part may be up to the highest limit, and 2 u of 0.1 ohm beyond it."""
    got = judge_resistance(case_of(resistance=Estimate(10.0, 0.1), expected=expected_of(**bands)))
    assert got.verdict is PASS
    assert told in got.reason


@pytest.mark.parametrize(("henry", "verdict"), [(14e-3, UNSURE), (5e-3, FAIL), (None, FAIL)])
def test_low_among_sisters_with_a_sound_inductance_may_be_the_others(henry, verdict):
    due = LimitBand(12e-3, 16e-3, 14e-3, 0.0, "round")
    expected = expected_of(resistance=BAND, sisters=SISTERS, inductance=due)
    measured = None if henry is None else Estimate(henry, 1e-5)
    got = verdict_of(
        judge_resistance,
        resistance=Estimate(8.5, 0.01),
        inductance=measured,
        signature={"inductance_h": measured},
        expected=expected,
    )
    assert got is verdict
    high = verdict_of(
        judge_resistance,
        resistance=Estimate(11.5, 0.01),
        inductance=measured,
        signature={"inductance_h": measured},
        expected=expected,
    )
    assert high is FAIL


def test_sisters_vouch_for_a_resistance_at_its_edge():
    near = Estimate(11.9, 0.1)
    like = LimitBand(11.0, 12.2, 11.6, 0.0, "sisters", among=Among.SISTERS, statistical=True)
    alone = verdict_of(judge_resistance, resistance=near, expected=expected_of(resistance=BAND))
    assert alone is UNSURE
    vouched = expected_of(resistance=BAND, sisters=like)
    assert verdict_of(judge_resistance, resistance=near, expected=vouched) is PASS
    inputs = expected_of(resistance=BAND, input_sisters=like)
    assert verdict_of(judge_resistance, resistance=near, expected=inputs) is UNSURE
    assert verdict_of(judge_resistance, kind=LoadKind.LOGIC_INPUT, resistance=near, expected=inputs) is PASS


def test_a_sense_pulse_only_accuses_an_inductance():
    due = LimitBand(12e-3, 16e-3, 14e-3, 0.0, "round")
    for henry, own, sense in ((14e-3, PASS, NOT_TESTED), (5e-3, FAIL, FAIL), (12.0e-3, UNSURE, NOT_TESTED)):
        measured = Estimate(henry, 1e-4)
        what = {"inductance": measured, "expected": expected_of(inductance=due)}
        assert verdict_of(judge_inductance, signature={"inductance_h": measured}, **what) is own
        assert verdict_of(judge_inductance, **what) is sense
    assert verdict_of(judge_inductance, expected=expected_of(inductance=due)) is NOT_TESTED
    assert verdict_of(judge_inductance, inductance=measured) is None
    lamp = {"kind": LoadKind.LAMP, "expected": expected_of(inductance=due), "inductance": measured}
    assert verdict_of(judge_inductance, **lamp) is None


def test_sisters_accuse_an_inductance_too():
    due = LimitBand(12e-3, 16e-3, 14e-3, 0.0, "round")
    sisters = LimitBand(13.9e-3, 14.1e-3, 14e-3, 0.0, "sisters", statistical=True)
    measured = Estimate(15e-3, 1e-5)
    expected = expected_of(inductance=due, inductance_sisters=sisters)
    got = verdict_of(
        judge_inductance, inductance=measured, signature={"inductance_h": measured}, expected=expected
    )
    assert got is FAIL


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


@pytest.mark.parametrize(
    ("steady_a", "verdict"), [(10.0, PASS), (13.0, FAIL), (12.0, UNSURE), (None, NOT_TESTED)]
)
def test_the_steady_current_of_lamps_and_motors(steady_a, verdict):
    steady = None if steady_a is None else Estimate(steady_a, 0.1)
    for kind in LoadKind:
        got = verdict_of(judge_inrush, kind=kind, steady=steady, expected=expected_of(steady=BAND))
        assert got is (verdict if kind in (LoadKind.LAMP, LoadKind.MOTOR) else None)
    assert verdict_of(judge_inrush, kind=LoadKind.LAMP, steady=steady) is NOT_TESTED


def test_the_inrush_is_told_in_times_the_steady_current():
    case = case_of(
        LoadKind.LAMP,
        steady=Estimate(10.0, 0.1),
        inrush=Estimate(65.0, 1.0),
        expected=expected_of(steady=BAND),
    )
    assert judge_inrush(case).reason == "inside its limits; inrush 65.00 A, 6.5 times"


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
