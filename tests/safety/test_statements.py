import pytest

from loomproof.facts.kinds import HazardClass, JobSetting, LoadKind
from loomproof.facts.signal import Signal
from loomproof.job.catalogue import CATALOGUE
from loomproof.safety.cautions import cautions_for, opening_cautions
from loomproof.safety.statements import StatementKind, form_for, hazards_of, pump_statement, statements_for


@pytest.mark.parametrize("kind", StatementKind)
@pytest.mark.parametrize("setting", JobSetting)
def test_no_fact_disappears_with_the_setting(kind, setting):
    vehicle = form_for(kind, JobSetting.VEHICLE)
    here = form_for(kind, setting)
    assert here.fact_keys == vehicle.fact_keys
    assert here.typed_word == vehicle.typed_word
    assert all(len(fact.text) > 15 for fact in here.facts)


def test_fuel_isolation_is_three_facts_and_a_typed_word():
    form = form_for(StatementKind.FUEL_ISOLATED, JobSetting.VEHICLE)
    assert form.fact_keys == ("pump_cannot_run", "pressure_relieved", "no_fuel_about")
    assert form.typed_word


def test_bench_words_differ_for_fuel_and_spark():
    for kind in (StatementKind.FUEL_ISOLATED, StatementKind.SPARK_CLEAR):
        assert form_for(kind, JobSetting.BENCH).sentence != form_for(kind, JobSetting.VEHICLE).sentence
        assert form_for(kind, JobSetting.CLASSROOM) == form_for(kind, JobSetting.BENCH)


@pytest.mark.parametrize("load", CATALOGUE.values(), ids=lambda load: load.key)
def test_every_hazard_of_every_load_needs_a_statement(load):
    hazards = hazards_of(load)
    kinds = statements_for(load, fuel_pump=load.fuel_pump)
    if hazards == (HazardClass.NONE,) and not load.fuel_pump:
        assert kinds == ()
    else:
        assert len(kinds) >= len(hazards)
        assert HazardClass.NONE not in hazards


def test_a_kind_keeps_its_hazard_whatever_its_type_says():
    harmless = CATALOGUE["injector_high"].model_copy(update={"hazard": HazardClass.NONE})
    assert hazards_of(harmless) == (HazardClass.FUEL,)
    hot_coil = CATALOGUE["coil_bare"].model_copy(update={"hazard": HazardClass.HEAT})
    assert set(hazards_of(hot_coil)) == {HazardClass.HEAT, HazardClass.SPARK}
    cranking = CATALOGUE["motor_fan"].model_copy(update={"hazard": HazardClass.CRANK})
    assert hazards_of(cranking) == (HazardClass.CRANK,)


def test_a_pump_relay_is_clicked_unplugged_and_a_pump_motor_may_run():
    assert pump_statement(LoadKind.RELAY) is StatementKind.PUMP_UNPLUGGED
    assert pump_statement(LoadKind.MOTOR) is StatementKind.PUMP_MAY_RUN


@pytest.mark.parametrize("setting", JobSetting)
@pytest.mark.parametrize("hazard", [h for h in HazardClass if h is not HazardClass.NONE])
def test_every_hazard_has_cautions_gravest_first(setting, hazard):
    cautions = cautions_for(hazard, setting)
    assert cautions
    ranks = [list(Signal).index(caution.signal) for caution in cautions]
    assert ranks == sorted(ranks)
    assert ranks[0] <= list(Signal).index(Signal.CAUTION)


def test_pump_adds_a_danger():
    plain = cautions_for(HazardClass.MOTION, JobSetting.VEHICLE)
    pump = cautions_for(HazardClass.MOTION, JobSetting.VEHICLE, fuel_pump=True)
    assert len(pump) == len(plain) + 1
    assert pump[0].signal is Signal.DANGER


def test_opening_says_that_a_key_is_no_emergency_stop_and_defers():
    text = " ".join(str(caution) for caution in opening_cautions())
    assert "not an emergency stop" in text
    assert "ISO 13850" in text
    assert "rules of your place" in text
