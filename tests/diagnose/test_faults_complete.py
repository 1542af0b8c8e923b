"""Every kind of fault is complete: its own file, words, odds, effect, twins; it can be made, and is tried."""

import importlib
import pkgutil
from dataclasses import replace

import pytest

from benchmarks import fault_matrix
from benchmarks.study.run import draw_loom
from loomproof.diagnose import faults
from loomproof.diagnose.explain.compose import compose
from loomproof.diagnose.faults.definition import FaultDefinition, Hypothesis, Scope
from loomproof.diagnose.faults.registry import FAULTS, of_scope, separated_by
from loomproof.diagnose.faults.words import sentence
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.finding import Finding
from loomproof.facts.verdict import Property
from loomproof.job.shift import wires_shifted
from loomproof.records.report.words import fault_name
from loomproof.tui.pages.findings.desk import finding_view
from loomproof_sim.fault_text import form_of
from loomproof_sim.plant.faults import MAKING, FaultSite
from loomproof_sim.scenario import Scenario, build_loom

EXAMPLES = sorted(path.stem for path in fault_matrix.EXAMPLES.glob("*.toml"))


@pytest.fixture(params=list(FaultKind), ids=str)
def kind(request) -> FaultKind:
    return request.param


def hypothesis(job, kind):
    """One such fault where the job can have it; None where it cannot."""
    what = FAULTS[kind]
    fitted = [c.channel for c in job.channels if c.fitted]
    if what.scope is Scope.SUPPLY:
        return Hypothesis(kind, ())
    if what.scope is Scope.FEED:
        fed = tuple(c for c in fitted if job.channel(c).feed == job.feeds[0].id)
        return Hypothesis(kind, fed, job.feeds[0].id)
    if what.scope is Scope.PAIR:
        pairs = [(a, b) for a in fitted for b in fitted if a < b]
        fits = [pair for pair in pairs if what.fits(*map(job.load_type, pair))]
        return Hypothesis(kind, fits[0]) if fits else None
    fits = [c for c in fitted if what.fits(job.load_type(c))]
    if what.scope is Scope.SET:
        whole = [sorted({c, *job.sisters(c)}) for c in fits if job.sisters(c)]
        return Hypothesis(kind, tuple(whole[0])) if whole else None
    if what.scope is Scope.GROUND:
        return Hypothesis(kind, tuple(fits)) if len(fits) > 1 else None
    if what.scope is Scope.CONNECTOR:
        there = sorted(wires_shifted(job, job.connectors[0].id, 1))
        return Hypothesis(kind, tuple(there), cavities_on=1) if len(there) > 1 else None
    return Hypothesis(kind, (fits[0],)) if fits else None


def possible(bench, kind):
    """The jobs that can have such a fault, each with one."""
    found = [(job, fault) for job in bench.jobs.values() if (fault := hypothesis(job, kind)) is not None]
    assert found, f"no example can have {kind}"
    return found


def test_each_kind_is_defined_in_the_file_that_bears_its_name(kind):
    module = importlib.import_module(f"loomproof.diagnose.faults.{kind}")
    defined = [value for value in vars(module).values() if isinstance(value, FaultDefinition)]
    assert [what.kind for what in defined] == [kind]
    assert FAULTS[kind] is defined[0]


def test_no_file_defines_a_fault_that_is_not_collected():
    for module in pkgutil.iter_modules(faults.__path__):
        found = vars(importlib.import_module(f"{faults.__name__}.{module.name}")).values()
        assert all(FAULTS[what.kind] is what for what in found if isinstance(what, FaultDefinition))
    assert list(FAULTS) == [what.kind for what in FAULTS.values()]
    assert set(FAULTS) == set(FaultKind)
    assert sorted(what.kind for scope in Scope for what in of_scope(scope)) == sorted(FaultKind)


def test_it_has_a_prior_a_name_and_advice(kind):
    what = FAULTS[kind]
    assert 1e-5 < what.prior < 0.1
    assert -20.0 < what.log_prior(5) <= what.log_prior(1) < 0.0
    texts = [what.name, what.advice.likely, what.advice.remedy, what.advice.next_measurement]
    assert all(text and not text.endswith((".", " ")) and "  " not in text for text in texts)
    assert sum(other.name == what.name for other in FAULTS.values()) == 1


def test_it_changes_what_is_expected_of_a_channel_or_of_the_supply(bench, kind):
    if FAULTS[kind].scope is Scope.SUPPLY:
        middle, spread = FAULTS[kind].supply_ohm
        assert middle > 0.0
        assert spread > 0.0
        return
    for job, fault in possible(bench, kind):
        changed = [compose(job, channel, (fault,)) != compose(job, channel, ()) for channel in fault.channels]
        assert any(changed), (job.name, fault)


def test_its_odds_are_odds(bench, kind):
    """Rough ones: they need not add up to better than two percent."""
    for job, fault in possible(bench, kind):
        for channel in fault.channels:
            odds = compose(job, channel, (fault,)).odds
            tables = (odds.rest, odds.conduct, odds.moved, odds.off_shape, odds.noticed, odds.pull)
            for table in tables:
                assert table is None or sum(table.values()) == pytest.approx(1.0, abs=0.02), (channel, table)


def test_its_twins_look_the_same_both_ways_and_can_be_separated(kind):
    what = FAULTS[kind]
    assert kind not in {*what.twins, *what.twins_unmeasured}
    assert all(kind in FAULTS[twin].twins for twin in what.twins)
    assert all(kind in FAULTS[twin].twins_unmeasured for twin in what.twins_unmeasured)
    assert bool(what.why_twins) == bool(what.twins or what.twins_unmeasured)
    for twin in (*what.twins, *what.twins_unmeasured):
        assert separated_by(kind, twin) == separated_by(twin, kind) != ""


def test_what_separates_two_kinds_is_written_once(kind):
    assert kind not in FAULTS[kind].separated_by
    assert all(kind not in FAULTS[other].separated_by for other in FAULTS[kind].separated_by)
    assert all(separated_by(other, kind) for other in FAULTS[kind].separated_by)


def test_what_nothing_separates_says_so():
    assert separated_by(FaultKind.OPEN, FaultKind.WEAK_SUPPLY) is None


def test_every_failed_property_has_a_fault_that_explains_it():
    explained = {about for what in FAULTS.values() for about in what.explains}
    assert explained == set(Property)


def test_a_fault_of_one_channel_or_of_the_supply_explains_some_failed_property(kind):
    alone = FAULTS[kind].scope in {Scope.CHANNEL, Scope.SUPPLY}
    assert bool(FAULTS[kind].explains) == alone


def test_the_simulator_makes_it(bench, kind):
    places = {
        Scope.CHANNEL: {FaultSite.CHANNEL, FaultSite.CHANNEL_AND_LOAD},
        Scope.PAIR: {FaultSite.TWO_CHANNELS},
        Scope.FEED: {FaultSite.FEED},
        Scope.SUPPLY: {FaultSite.SUPPLY},
        Scope.SET: {FaultSite.CHANNEL_AND_LOAD},
        Scope.CONNECTOR: {FaultSite.CONNECTOR},
        Scope.GROUND: {FaultSite.CHANNEL},
    }
    assert MAKING[kind].site in places[FAULTS[kind].scope]
    job, fault = possible(bench, kind)[0]
    parts = [fault.feed] if fault.feed else [str(channel) for channel in fault.channels]
    if FAULTS[kind].scope is Scope.CONNECTOR:
        parts = [job.connectors[0].id]
    if FAULTS[kind].scope in {Scope.SET, Scope.GROUND}:
        parts = parts[:1]
    if MAKING[kind].site is FaultSite.CHANNEL_AND_LOAD:
        parts.append("lamp_21w")
    text = ":".join([kind, *parts])
    assert build_loom(job, Scenario(faults=(text,))) != build_loom(job, Scenario())
    assert form_of(kind).split("[")[0].count(":") == len(parts)


def test_the_fault_matrix_and_the_study_try_it(kind):
    tried = {case.kind for name in EXAMPLES for case in fault_matrix.cases(name)}
    assert kind in tried
    drawn = [one.kind for seed in range(12) for one in draw_loom(seed, 1, (kind,)).planted]
    assert drawn
    assert set(drawn) == {kind}


def test_the_report_and_the_console_have_words_for_it(bench, kind):
    name = FAULTS[kind].name
    assert fault_name(str(kind)) == name
    job, fault = possible(bench, kind)[0]
    text = sentence(job, fault, "", ())
    assert FAULTS[kind].advice.remedy in text
    found = Finding(kind, fault.channels, (), None, fault.feed, 0.9, (), (), "", "", text)
    assert finding_view(found).title == name
    unclear = finding_view(replace(found, cannot_tell_from=(kind,), together=0.93))
    assert unclear.against == (
        f"looks the same to this box: {name}",
        "this, or one that looks the same: 93 %",
    )


def test_the_page_of_faults_has_its_row_with_cause_and_twins(kind):
    what = FAULTS[kind]
    page = (fault_matrix.EXAMPLES.parent / "docs" / "faults.md").read_text(encoding="utf-8")
    (row,) = [line for line in page.splitlines() if line.startswith(f"| {what.name} |")]
    assert what.advice.likely in row
    assert all(FAULTS[twin].name in row for twin in (*what.twins, *what.twins_unmeasured))
