"""Each statement's form, whole: its facts, the word to type, and where the bench has words of its own."""

import pytest

from loomproof.facts.kinds import HazardClass, JobSetting
from loomproof.safety.interlocks import Blocked, Interlocks, Permit, StatementRefusedError, Voider
from loomproof.safety.statements import Fact, StatementForm, StatementKind, form_for

VEHICLE, BENCH, CLASSROOM = JobSetting.VEHICLE, JobSetting.BENCH, JobSetting.CLASSROOM
TYPED = {
    StatementKind.FUEL_ISOLATED: "isolated",
    StatementKind.CRANK_CLEAR: "clear",
    StatementKind.PUMP_MAY_RUN: "run",
    StatementKind.LOOM_HARMLESS: "none",
    StatementKind.RAIL_DRY: "dry",
}
"""Where a slip of a key could fire an initiator, flood a cylinder, turn an engine or start a pump."""
SAME_EVERYWHERE = {StatementKind.MOTION_CLEAR, StatementKind.HEAT_WATCHED}
FACTS = {
    StatementKind.FUEL_ISOLATED: ("pump_cannot_run", "pressure_relieved", "no_fuel_about"),
    StatementKind.CYLINDERS_AIRED: ("plugs_out_turned", "no_fuel_about"),
    StatementKind.SPARK_CLEAR: ("cylinders_dry", "gap_fitted", "hands_off"),
    StatementKind.CRANK_CLEAR: ("drive_open", "people_clear", "cannot_fire"),
    StatementKind.HEAT_WATCHED: ("nothing_flammable", "watched"),
    StatementKind.PUMP_UNPLUGGED: ("pump_unplugged", "no_fuel_about"),
    StatementKind.PUMP_MAY_RUN: ("line_closed", "injectors_off", "no_ignition_source"),
}


@pytest.mark.parametrize("kind", StatementKind)
@pytest.mark.parametrize("setting", JobSetting)
def test_a_word_is_typed_where_a_slip_of_a_key_must_not_be_enough(kind, setting):
    assert form_for(kind, setting).typed_word == TYPED.get(kind, "")


@pytest.mark.parametrize("kind", StatementKind)
def test_the_bench_has_words_of_its_own_but_for_what_is_the_same_everywhere(kind):
    words = {setting: form_for(kind, setting).facts for setting in JobSetting}
    assert words[BENCH] == words[CLASSROOM]
    assert (words[BENCH] == words[VEHICLE]) is (kind in SAME_EVERYWHERE)


@pytest.mark.parametrize(("kind", "keys"), FACTS.items())
def test_the_facts_of_a_statement(kind, keys):
    for setting in JobSetting:
        assert form_for(kind, setting).fact_keys == keys


def test_each_statement_has_its_own_title_and_kind():
    forms = [form_for(kind, VEHICLE) for kind in StatementKind]
    assert [form.kind for form in forms] == list(StatementKind)
    assert len({form.title for form in forms}) == len(StatementKind)


def test_a_form_says_what_is_missing_and_reads_as_one_sentence():
    form = StatementForm(StatementKind.HEAT_WATCHED, "It holds", (Fact("a", "one"), Fact("b", "two")))
    assert form.typed_word == ""
    assert form.sentence == "It holds: one; two"
    assert form.missing(()) == form.facts
    assert form.missing(("b",)) == (Fact("a", "one"),)
    assert form.missing(("b", "a", "c")) == ()


# -- what is said of a statement that cannot be accepted ---------------------------------------------------


def refused(kind, facts=None, who="RB", now_s=0.0, typed=None):
    keys = form_for(kind, VEHICLE).fact_keys if facts is None else facts
    with pytest.raises(StatementRefusedError) as error:
        Interlocks().with_statement(kind, keys, who, now_s, typed=typed)
    return str(error.value)


def test_why_a_statement_is_refused():
    kind = StatementKind.CRANK_CLEAR
    facts = form_for(kind, VEHICLE).facts
    assert refused(kind, [facts[1].key]) == f"not confirmed: {facts[0].text}; {facts[2].text}"
    assert refused(kind, who="\t ") == "say who states this"
    assert refused(kind, typed="clea") == 'type the word "clear" to state this'
    assert refused(kind, now_s=float("nan")) == "the clock gives no time"
    assert refused(StatementKind.HEAT_WATCHED, typed="anything") == 'type the word "" to state this'


def test_a_fact_more_than_is_asked_is_kept_out_of_the_record():
    kind = StatementKind.HEAT_WATCHED
    keys = form_for(kind, VEHICLE).fact_keys
    locks = Interlocks().with_statement(kind, ("other", *keys[::-1]), "RB", 0.0)
    assert locks.statements[kind].facts == keys


# -- fuel that was driven ------------------------------------------------------------------------------------


@pytest.mark.parametrize("by", Voider)
def test_only_driven_fuel_is_remembered_and_for_good(by):
    locks = Interlocks().voided(by)
    assert locks.fuel_driven is (by is Voider.FUEL_DRIVEN)
    assert locks.voided(Voider.FUEL_DRIVEN).voided(by).fuel_driven


def test_after_fuel_only_spark_asks_for_an_airing():
    locks = Interlocks(fuel_driven=True)
    for hazard in HazardClass:
        asked = StatementKind.CYLINDERS_AIRED in locks.needed(hazard)
        assert asked is (hazard is HazardClass.SPARK)
        assert isinstance(locks.permit(hazard, 0.0), Permit if hazard is HazardClass.NONE else Blocked)
