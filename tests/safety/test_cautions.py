"""Cautions: what they must say, where, how often, and in which colours. Signal words: ANSI Z535.4 (from memory)."""

from collections import Counter
from pathlib import Path

import pytest

from loomproof.cli.prove.terminal_operator import STYLE
from loomproof.facts.kinds import HazardClass, JobSetting
from loomproof.facts.signal import SIGNAL_COLOURS, Signal
from loomproof.facts.step import StepKind
from loomproof.job.file.loading import load_job
from loomproof.procedure.sheet import build_sheet
from loomproof.records.report.page import html
from loomproof.safety.cautions import (
    FLEXING_DRIVEN,
    PULLING,
    PULLING_DRIVEN,
    PULLING_IN_SHORT,
    SET_OFF,
    brief_cautions,
    cautions_for,
    full_cautions,
    opening_cautions,
    statement_cautions,
)
from loomproof.safety.statements import StatementKind
from loomproof.tui.theme import DAYLIGHT, STARK, WORKSHOP

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.toml"))
VEHICLE, BENCH = JobSetting.VEHICLE, JobSetting.BENCH


def text_of(cautions):
    return " ".join(str(caution) for caution in cautions).casefold()


def test_restraint_and_high_voltage_come_before_everything_else():
    first = opening_cautions()[0]
    assert first is SET_OFF
    assert first.signal is Signal.DANGER
    assert all(word in first.text for word in ("airbag", "belt pretensioner", "high-voltage"))
    order = list(Signal)
    ranks = [order.index(caution.signal) for caution in opening_cautions()]
    assert ranks == sorted(ranks)


@pytest.mark.parametrize(
    "words",
    ["eye protection", "rings", "explosive gas", "ground lead off first", "direct injection", "capacitor-discharge",
     "not an emergency stop", "rules of your place"],
)  # fmt: skip
def test_what_holds_for_every_session_is_said_at_its_beginning(words):
    assert words in text_of(opening_cautions())


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        (
            StatementKind.FUEL_ISOLATED,
            ("eye protection", "diesel and direct-injection rails", "extinguisher", "runs dry"),
        ),
        (StatementKind.SPARK_CLEAR, ("pacemakers", "lights fuel", "gap")),
        (StatementKind.CYLINDERS_AIRED, ("lights fuel",)),
        (StatementKind.CRANK_CLEAR, ("wheels chocked",)),
        (StatementKind.MOTION_CLEAR, ("keep clear",)),
        (StatementKind.HEAT_WATCHED, ("burn skin",)),
        (StatementKind.PUMP_UNPLUGGED, ("unplug the pump",)),
        (StatementKind.PUMP_MAY_RUN, ("unplug the pump",)),
        (StatementKind.LOOM_HARMLESS, ("airbag", "high-voltage")),
    ],
)
def test_a_statement_is_asked_for_with_its_cautions_in_full(kind, words):
    text = text_of(statement_cautions(kind, VEHICLE))
    assert all(word in text for word in words)


@pytest.mark.parametrize("kind", StatementKind)
@pytest.mark.parametrize("setting", JobSetting)
def test_every_statement_has_a_caution(kind, setting):
    assert statement_cautions(kind, setting)


@pytest.mark.parametrize("hazard", [hazard for hazard in HazardClass if hazard is not HazardClass.NONE])
@pytest.mark.parametrize("setting", JobSetting)
@pytest.mark.parametrize("pump", [False, True])
def test_in_between_it_is_one_line_with_the_gravest_word(hazard, setting, pump):
    (line,) = brief_cautions((hazard,), setting, fuel_pump=pump)
    whole = full_cautions((hazard,), setting, fuel_pump=pump)
    assert line.signal is whole[0].signal
    assert len(line.text) <= 80 - 12  # beside its signal word
    assert len(text_of(whole).split()) > len(str(line).split()) - 3
    if not pump:
        assert whole == cautions_for(hazard, setting)


def test_a_load_of_two_classes_is_cautioned_of_both():
    both = brief_cautions((HazardClass.HEAT, HazardClass.SPARK), VEHICLE)
    assert "Hot" in both[0].text
    assert "Kilovolts" in both[0].text
    assert both[0].signal is Signal.WARNING
    assert brief_cautions((HazardClass.NONE,), VEHICLE) == ()


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_a_sheet_says_nothing_long_twice(path):
    job = load_job(path)
    steps = build_sheet(job).steps
    said = Counter(caution for step in steps for caution in step.cautions)
    long = {caution: times for caution, times in said.items() if len(str(caution).split()) > 22 and times > 1}
    said.pop(
        PULLING_DRIVEN, None
    )  # a pull and a flex of what is driven meanwhile: each is a warning of its own
    said.pop(FLEXING_DRIVEN, None)
    long = {caution: times for caution, times in long.items() if caution in said}
    shared = {caution for kind in StatementKind for caution in statement_cautions(kind, job.setting)} | {
        SET_OFF
    }
    assert not set(long) - shared
    for step in steps:
        if step.kind is StepKind.DRIVE:
            assert len(step.cautions) <= 1
        if step.statement is not None:
            assert step.cautions == statement_cautions(step.statement, job.setting)
    pulled = [s.cautions for s in steps if s.kind in (StepKind.PULL_CHECK, StepKind.WIGGLE)]
    undriven = [cautions for cautions in pulled if cautions in ((PULLING,), (PULLING_IN_SHORT,))]
    assert undriven[0] == (PULLING,)
    assert set(undriven[1:]) == {(PULLING_IN_SHORT,)}
    assert all(
        cautions[0] in (PULLING_DRIVEN, FLEXING_DRIVEN) for cautions in pulled if cautions not in undriven
    )


def test_a_driven_hazard_never_stands_without_its_full_caution_before():
    job = load_job(next(path for path in EXAMPLES if path.stem == "inline-five-turbo"))
    stated = set()
    for step in build_sheet(job).steps:
        stated |= set(step.cautions)
        if step.kind is StepKind.DRIVE and step.hazard is not HazardClass.NONE:
            assert set(cautions_for(step.hazard, job.setting)) <= stated


# --- colours ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("theme", [WORKSHOP, STARK, DAYLIGHT], ids=lambda theme: theme.name)
def test_one_colour_for_each_signal_word_in_every_theme(theme):
    for signal, colour in SIGNAL_COLOURS.items():
        assert theme.variables[f"signal-{signal.lower()}"] == colour
    assert theme.warning == SIGNAL_COLOURS[Signal.WARNING]


def test_the_same_colours_on_a_plain_terminal_and_in_the_report():
    assert {signal: style.split()[-1] for signal, style in STYLE.items()} == SIGNAL_COLOURS
    css = (Path(html.__code__.co_filename).parent / "templates" / "report.css.j2").read_text(encoding="utf-8")
    for signal in (Signal.WARNING, Signal.NOTICE):
        assert f".signal.{signal.lower()} {{ background: {SIGNAL_COLOURS[signal].lower()};" in css
