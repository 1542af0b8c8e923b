"""What the bench shows of a job's channels, before a box is there, and how it words gauges and numbers."""

from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.job.file.loading import load_job
from loomproof.procedure.bench.planning import Cost, plan_free
from loomproof.procedure.bench.ways import Way, ways_of
from loomproof.safety.budget import pulse_budget
from loomproof.tui.pages.bench.fields import BAR, gauge_bar, gauge_text
from loomproof.tui.pages.bench.parts import why_text
from loomproof.tui.pages.bench.plan_view import bench_view, fill_word, gauges, joules, number_of

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.toml"))
FIVE = load_job(next(path for path in EXAMPLES if path.stem == "inline-five-turbo"))


def view(job, channel, way="", **texts):
    return bench_view(job, channel, way, texts, session=None, box_blocks=())


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_every_way_of_every_channel_has_its_settings_with_ranges_and_reasons(path):
    job = load_job(path)
    for entry in job.channels:
        if not entry.fitted:
            continue
        for way, why_not in ways_of(job, entry.channel).items():
            shown = view(job, entry.channel, way.value)
            assert shown.way == way.value
            assert all(s.choices or (s.limits and s.why) for s in shown.settings), (entry.channel, way)
            assert shown.ready == (not why_not)
            assert bool(shown.blocks) == bool(why_not)
            assert bool(shown.summary) == bool(shown.gauges) == (not why_not)


def test_what_is_typed_wrong_is_told_at_its_setting_and_moves_the_others():
    shown = view(FIVE, 11, "train", frequency_hz="8", width_ms="x")
    assert [s.problem for s in shown.settings if s.key == "width_ms"] == ["write a number, like 10 or 2.5."]
    assert not shown.ready
    slow = next(s for s in view(FIVE, 11, "train", frequency_hz="1").settings if s.key == "width_ms")
    fast = next(s for s in view(FIVE, 11, "train", frequency_hz="30").settings if s.key == "width_ms")
    assert slow.limits == "0.05 to 100 ms"
    assert fast.limits == "0.05 to 29.99 ms"  # 90 % of 33333 us, rounded to the safe side
    assert "90 % of the time" in fast.why


@pytest.mark.parametrize(
    ("left_ul", "wrong", "told"),
    [(0.0, "✗ On-time, Pulses", "the drives before"), (0.02, "✗ On-time", "the drives before")],
)
def test_a_fuel_budget_that_is_used_up_is_said_once(left_ul, wrong, told):
    all_ul = pulse_budget(FIVE, 1, 13.5).model.liquid_ul

    def budgets(channels):
        return [pulse_budget(FIVE, channel, 13.5, released_ul=all_ul - left_ul) for channel in channels]

    plan = plan_free(FIVE, 1, Way.TRAIN, {"count": 10.0, "frequency_hz": 5.0, "width_ms": 6.0}, budgets)
    assert any(problem.fuel_spent for problem in plan.problems)
    text_of = {problem.key: problem.text for problem in plan.problems}
    shown = view(FIVE, 1, "train")
    shown = replace(shown, settings=tuple(replace(s, problem=text_of.get(s.key, "")) for s in shown.settings))
    (line,) = why_text(shown, "").splitlines()
    assert line.startswith(f"{wrong}: nothing fits: ")
    assert told in line


def test_cautions_and_the_usual_way_come_with_the_channel():
    injector, valve = view(FIVE, 1), view(FIVE, 11)
    assert injector.way == Way.TRAIN
    assert injector.cautions[0].signal == "DANGER"
    assert valve.cautions == ()
    six = load_job(next(path for path in EXAMPLES if path.stem == "classroom-vee-six"))
    assert view(six, 1).way == Way.PEAK_HOLD
    assert view(six, 13).way == Way.BRIDGE
    assert any(caution.signal == "WARNING" for caution in view(six, 13).cautions)


@pytest.mark.parametrize(
    ("text", "value"),
    [("2,5", 2.5), (" 10 ", 10.0), ("", None), (".", None), ("nan", None), ("inf", None), ("1e99", None)],
)
def test_numbers_are_read_with_point_or_comma(text, value):
    assert number_of(text) == value


def test_gauges_tell_by_shape_and_word():
    energy, heat, fuel = gauges(
        Cost(1.0, 0.084, 7.2e-3, 0.84, 18.0, 36.0, 60.0, fuel_ul=0.0, after_ul=40.0, allowed_ul=36.5)
    )
    assert gauge_text(energy) == "Energy up to 84 mJ heat a pulse, 7.2 mJ stored, 840 mJ in all"
    assert gauge_text(heat) == "Heat   ▕████▒▒▒·····▏ over half: 18 K now, 36 after, 60 allowed"
    assert fuel.word == "OVER"
    assert gauge_text(fuel).startswith("Fuel   ▕▒▒▒▒▒▒▒▒▒▒▒▒▏ OVER: ")


def test_a_gauge_never_hides_what_a_drive_adds_and_never_overflows():
    for now in range(0, 130, 7):
        for more in range(0, 130, 7):
            bar = gauge_bar(now / 100, (now + more) / 100)
            assert len(bar) == BAR + 2
            if more and now < 95:
                assert "▒" in bar
            assert bar.strip("▕▏") == "".join(sorted(bar.strip("▕▏"), key="█▒·".index))


@pytest.mark.parametrize(
    ("share", "word"),
    [(0.1, "plenty left"), (0.6, "over half"), (0.9, "nearly full"), (1.0, "nearly full"), (1.1, "OVER")],
)
def test_how_full_a_gauge_is_has_a_word(share, word):
    assert fill_word(share) == word


@pytest.mark.parametrize(
    ("value", "text"), [(0.0, "0 J"), (2.5e-5, "25 µJ"), (0.0072, "7.2 mJ"), (1.5, "1.5 J")]
)
def test_energies_are_written_with_a_prefix(value, text):
    assert joules(value) == text
