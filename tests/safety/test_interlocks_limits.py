"""Statements, blocks and cautions at their edges."""

import math

import pytest

from loomproof.facts.kinds import HazardClass, JobSetting, LoadKind
from loomproof.facts.signal import Signal
from loomproof.job.catalogue import CATALOGUE
from loomproof.safety import cautions
from loomproof.safety.cautions import cautions_for, opening_cautions
from loomproof.safety.fuel_ledger import FuelLedger
from loomproof.safety.interlocks import VOIDER_TEXT, VOIDS, Block, Blocked, Interlocks, Permit, Voider
from loomproof.safety.order import Phase, phase_of, safe_order
from loomproof.safety.statements import Fact, StatementForm, StatementKind, form_for, statements_for

VEHICLE, BENCH, CLASSROOM = JobSetting.VEHICLE, JobSetting.BENCH, JobSetting.CLASSROOM


def stated(locks, kind, now_s=0.0, who="RB"):
    return locks.with_statement(kind, form_for(kind, locks.setting).fact_keys, who, now_s)


# -- expiry -------------------------------------------------------------------------------------------


def test_a_statement_holds_ten_minutes_and_at_most_half_an_hour():
    assert Interlocks().expiry_s == 600.0
    assert Interlocks(expiry_s=1800.0).expiry_s == 1800.0
    for expiry_s in (math.nextafter(1800.0, 2000.0), 0.0):
        with pytest.raises(ValueError, match="at most 1800 s"):
            Interlocks(expiry_s=expiry_s)
    assert Interlocks(expiry_s=1e-9).expiry_s == 1e-9


def test_a_statement_keeps_who_what_and_until_when():
    locks = stated(Interlocks(expiry_s=60.0), StatementKind.HEAT_WATCHED, 5.0, "  RB ")
    (statement,) = locks.live(5.0)
    assert (statement.who, statement.made_s, statement.expires_s) == ("RB", 5.0, 65.0)
    assert statement.facts == ("nothing_flammable", "watched")
    assert locks.live(65.0) == ()
    assert locks.live(math.nextafter(5.0, 0.0)) == ()


def test_a_permit_lasts_until_the_first_of_its_statements_expires():
    locks = stated(Interlocks(), StatementKind.PUMP_MAY_RUN, 30.0)
    locks = stated(locks, StatementKind.MOTION_CLEAR, 50.0)
    permit = locks.permit(HazardClass.MOTION, 60.0, pump=StatementKind.PUMP_MAY_RUN)
    assert isinstance(permit, Permit)
    assert permit.until_s == 630.0
    assert [statement.kind for statement in permit.statements] == [
        StatementKind.MOTION_CLEAR,
        StatementKind.PUMP_MAY_RUN,
    ]


# -- why something is blocked -------------------------------------------------------------------------


def reason_of(locks, hazard, now_s):
    blocked = locks.permit(hazard, now_s)
    assert isinstance(blocked, Blocked)
    (block,) = blocked.reasons
    return block.reason, block.remedy


def test_each_way_to_be_blocked_says_why():
    title = '"Moving parts are clear"'
    locks = Interlocks()
    assert reason_of(locks, HazardClass.MOTION, 0.0) == (
        f"Nobody has stated {title}.",
        "Check it, then state it.",
    )
    locks = stated(locks, StatementKind.MOTION_CLEAR, 100.0)
    again = "Check it again, then state it."
    assert reason_of(locks, HazardClass.MOTION, 700.0) == (
        f"{title} no longer holds: its time ran out.",
        again,
    )
    assert reason_of(locks, HazardClass.MOTION, 99.0) == (
        f"{title} no longer holds: the clock went backwards.",
        again,
    )
    for voider in (Voider.STOP, Voider.WITHDRAWN):
        gone = locks.voided(voider)
        assert reason_of(gone, HazardClass.MOTION, 101.0) == (
            f"{title} no longer holds: {VOIDER_TEXT[voider]}.",
            again,
        )
    assert isinstance(
        stated(gone, StatementKind.MOTION_CLEAR, 101.0).permit(HazardClass.MOTION, 102.0), Permit
    )


def test_only_a_missing_airing_says_that_an_injector_was_driven():
    told = "An injector has been driven in this job."
    locks = stated(Interlocks().voided(Voider.FUEL_DRIVEN), StatementKind.SPARK_CLEAR)
    assert told in reason_of(locks, HazardClass.SPARK, 1.0)[0]
    assert told not in reason_of(locks, HazardClass.MOTION, 1.0)[0]
    aired = stated(locks, StatementKind.CYLINDERS_AIRED)
    aired = aired.voided(Voider.FUEL_DRIVEN, StatementKind.CYLINDERS_AIRED)
    assert reason_of(aired, HazardClass.SPARK, 1.0)[0].endswith("an injector was driven.")


def test_what_would_free_a_hazard_leaves_out_what_no_statement_frees():
    blocked = Blocked(HazardClass.HEAT, (Block("a.", "b."), Block("c.", "d.", StatementKind.HEAT_WATCHED)))
    assert blocked.needs == (StatementKind.HEAT_WATCHED,)
    assert blocked.sentence == "a. b. c. d."


def test_spark_needs_an_airing_first_and_a_pump_its_own_last():
    locks = Interlocks(fuel_driven=True)
    assert locks.needed(HazardClass.SPARK, StatementKind.PUMP_MAY_RUN) == (
        StatementKind.CYLINDERS_AIRED,
        StatementKind.SPARK_CLEAR,
        StatementKind.PUMP_MAY_RUN,
    )
    assert locks.needed(HazardClass.FUEL) == (StatementKind.FUEL_ISOLATED,)
    assert Interlocks().needed(HazardClass.SPARK) == (StatementKind.SPARK_CLEAR,)


# -- what voids what ----------------------------------------------------------------------------------


def test_the_table_of_voiders_is_the_rule():
    """Rules 3 to 5 of the module."""
    every = set(StatementKind)
    partly = {
        Voider.PUMP_DRIVEN: {StatementKind.FUEL_ISOLATED, StatementKind.RAIL_DRY, StatementKind.SPARK_CLEAR},
        Voider.FUEL_DRIVEN: {StatementKind.CYLINDERS_AIRED, StatementKind.SPARK_CLEAR},
        Voider.EXPIRED: set(),
    }
    assert {voider: set(kinds) for voider, kinds in VOIDS.items()} == {
        voider: partly.get(voider, every) for voider in Voider
    }
    assert len(set(VOIDER_TEXT.values())) == len(Voider)


def test_only_what_was_stated_is_voided_and_only_what_the_voider_voids():
    locks = stated(stated(Interlocks(), StatementKind.SPARK_CLEAR), StatementKind.HEAT_WATCHED)
    gone = locks.voided(Voider.PUMP_DRIVEN)
    assert gone.voided_by == {StatementKind.SPARK_CLEAR: Voider.PUMP_DRIVEN}
    assert set(gone.statements) == {StatementKind.HEAT_WATCHED}
    both = gone.voided(Voider.STOP)
    assert both.voided_by == {
        StatementKind.SPARK_CLEAR: Voider.PUMP_DRIVEN,
        StatementKind.HEAT_WATCHED: Voider.STOP,
    }
    back = stated(both, StatementKind.HEAT_WATCHED)
    assert back.voided_by == {StatementKind.SPARK_CLEAR: Voider.PUMP_DRIVEN}
    assert locks.voided(Voider.PUMP_DRIVEN, StatementKind.HEAT_WATCHED).voided_by == {}


@pytest.mark.parametrize("voider", Voider)
def test_only_driving_fuel_counts_as_fuel_driven_and_for_good(voider):
    locks = Interlocks().voided(voider)
    assert locks.fuel_driven is (voider is Voider.FUEL_DRIVEN)
    assert Interlocks(fuel_driven=True).voided(voider).fuel_driven


# -- forms --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("setting", JobSetting)
def test_five_statements_are_typed(setting):
    typed = {kind: form_for(kind, setting).typed_word for kind in StatementKind}
    assert {kind: word for kind, word in typed.items() if word} == {
        StatementKind.LOOM_HARMLESS: "none",
        StatementKind.FUEL_ISOLATED: "isolated",
        StatementKind.RAIL_DRY: "dry",
        StatementKind.CRANK_CLEAR: "clear",
        StatementKind.PUMP_MAY_RUN: "run",
    }


def test_off_the_vehicle_all_but_motion_and_heat_have_words_of_their_own():
    for kind in StatementKind:
        same = form_for(kind, BENCH) == form_for(kind, VEHICLE)
        assert same is (kind in (StatementKind.MOTION_CLEAR, StatementKind.HEAT_WATCHED))
        assert form_for(kind, CLASSROOM) == form_for(kind, BENCH)
    assert len({form_for(kind, VEHICLE).title for kind in StatementKind}) == len(StatementKind)


def test_a_form_names_what_is_missing():
    form = StatementForm(StatementKind.HEAT_WATCHED, "T", (Fact("a", "x"), Fact("b", "y")))
    assert form.missing(("b",)) == (Fact("a", "x"),)
    assert form.missing(("a", "b", "c")) == ()
    assert (form.sentence, form.typed_word) == ("T: x; y", "")


@pytest.mark.parametrize(
    ("key", "fuel_pump", "kinds"),
    [
        ("injector_high", False, ("fuel_isolated",)),
        ("coil_bare", False, ("spark_clear",)),
        ("valve_purge", False, ()),
        ("motor_fan", False, ("motion_clear",)),
        ("starter_relay", False, ("crank_clear",)),
        ("fuel_pump_relay", True, ("motion_clear", "pump_unplugged")),
        ("motor_fan", True, ("motion_clear", "pump_may_run")),
    ],
)
def test_what_a_load_needs(key, fuel_pump, kinds):
    assert statements_for(CATALOGUE[key], fuel_pump=fuel_pump) == kinds


def test_an_igniter_coil_sparks_whatever_its_type_says():
    load = CATALOGUE["coil_bare"].model_copy(
        update={"kind": LoadKind.IGNITER_COIL, "hazard": HazardClass.NONE}
    )
    assert statements_for(load, fuel_pump=False) == ("spark_clear",)


# -- cautions -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("hazard", "setting", "signals"),
    [
        (HazardClass.NONE, VEHICLE, []),
        (HazardClass.FUEL, VEHICLE, ["DANGER", "WARNING", "NOTICE"]),
        (HazardClass.FUEL, BENCH, ["WARNING", "NOTICE"]),
        (HazardClass.SPARK, VEHICLE, ["WARNING", "WARNING", "NOTICE"]),
        (HazardClass.SPARK, BENCH, ["WARNING", "WARNING", "NOTICE"]),
        (HazardClass.CRANK, VEHICLE, ["DANGER"]),
        (HazardClass.CRANK, BENCH, ["WARNING"]),
        (HazardClass.MOTION, VEHICLE, ["WARNING"]),
        (HazardClass.MOTION, CLASSROOM, ["WARNING"]),
        (HazardClass.HEAT, VEHICLE, ["CAUTION"]),
        (HazardClass.HEAT, BENCH, ["CAUTION"]),
        (HazardClass.NONE, BENCH, []),
    ],
)
def test_the_signal_words(hazard, setting, signals):
    """ANSI Z535.4 (from memory): DANGER will kill or maim, WARNING could, CAUTION could injure slightly or moderately."""
    assert [caution.signal for caution in cautions_for(hazard, setting)] == signals
    with_pump = [caution.signal for caution in cautions_for(hazard, setting, fuel_pump=True)]
    assert with_pump == ["DANGER", *signals]
    assert cautions_for(hazard, setting, fuel_pump=True)[0] is cautions.PUMP


def test_off_the_vehicle_fuel_spark_and_crank_are_warned_of_in_other_words():
    for hazard in (HazardClass.FUEL, HazardClass.SPARK, HazardClass.CRANK):
        assert cautions_for(hazard, BENCH) != cautions_for(hazard, VEHICLE)
        assert cautions_for(hazard, CLASSROOM) == cautions_for(hazard, BENCH)


def test_the_cautions_beside_the_hazards():
    assert cautions.STOP_IS_SOFTWARE.signal is Signal.WARNING
    assert (cautions.PUMP.signal, cautions.PULLING.signal) == (Signal.DANGER, Signal.CAUTION)
    assert (cautions.CONNECTING.signal, cautions.LOCAL_RULES.signal) == (Signal.NOTICE, Signal.NOTICE)
    opening = opening_cautions()
    assert opening[:2] == (cautions.SET_OFF, cautions.STOP_IS_SOFTWARE)
    assert {cautions.BATTERY, cautions.NOT_FOR_THIS_BOX, cautions.CONNECTING, cautions.LOCAL_RULES} == set(
        opening[2:]
    )
    assert str(cautions.PULLING).startswith("CAUTION: Pull a connector")


# -- order and fuel -----------------------------------------------------------------------------------


def test_the_phases_are_in_the_safe_order():
    assert [phase.name for phase in sorted(Phase)] == [
        "LOOK",
        "WALK",
        "HARMLESS",
        "HEAT",
        "MOTION",
        "CRANK",
        "SPARK",
        "FUEL",
        "PUMP",
        "SUMMARY",
    ]


def test_a_channel_is_driven_with_the_gravest_of_its_hazards(make_job):
    job = make_job()
    hot = job.load_type(2).model_copy(update={"hazard": HazardClass.HEAT})
    assert phase_of(type("", (), {"channel": job.channel, "load_type": lambda *_: hot})(), 2) is Phase.SPARK
    lamp = job.load_type(3).model_copy(update={"hazard": HazardClass.HEAT})
    assert phase_of(type("", (), {"channel": job.channel, "load_type": lambda *_: lamp})(), 3) is Phase.HEAT


def test_a_channel_that_is_not_fitted_is_left_out(make_job):
    job = make_job()
    channels = tuple(channel.model_copy(update={"fitted": channel.channel != 5}) for channel in job.channels)
    assert safe_order(job.model_copy(update={"channels": channels})) == (3, 6, 2, 1, 4)


def test_the_smallest_liquid_counts_and_none_changes_nothing():
    ledger = FuelLedger().with_drive("cyl1", 0.5)
    assert ledger.at("cyl1") == 0.5
    assert ledger.with_drive("cyl1", 0.0) is ledger
    for kind in StatementKind:
        cleared = kind in (StatementKind.FUEL_ISOLATED, StatementKind.CYLINDERS_AIRED)
        assert ledger.with_statement(kind).at("cyl1") == (0.0 if cleared else 0.5)
