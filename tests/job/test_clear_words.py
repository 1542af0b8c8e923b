"""Mistakes that people make in job files, and what they are told: the right place, one problem, a remedy that helps."""

from pathlib import Path

import pytest

from loomproof.job.checks.fuses import steady_a
from loomproof.job.file.loading import JobError, Problem, parse_job
from loomproof.job.file.not_described import NOT_DESCRIBED
from loomproof.job.model import Channel, Feed, Job

EXAMPLES = Path(__file__).parents[2] / "examples"
FIVE = (EXAMPLES / "inline-five-turbo.toml").read_text(encoding="utf-8")
BENCH = (EXAMPLES / "bench-relays-lamps-stepper.toml").read_text(encoding="utf-8")


def problems_of(text: str) -> tuple[Problem, ...]:
    with pytest.raises(JobError) as caught:
        parse_job(text)
    return caught.value.problems


def the_problem(text: str) -> Problem:
    (problem,) = problems_of(text)
    return problem


@pytest.mark.parametrize("number", [17, 0, 99])
def test_an_output_that_the_box_lacks_says_which_it_has(number: int) -> None:
    problem = the_problem(FIVE.replace("channel = 16\n", f"channel = {number}\n"))
    assert "outputs 1 to 16" in problem.remedy
    assert "two boxes" in problem.remedy


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("ground", "grounds are not described"),
        ("high_side", "switches to ground"),
        ("ballast_ohm", "measured with the resistor"),
        ("supply_v", "24 V"),
        ("loads", "two loads on one wire"),
    ],
)
def test_what_a_job_does_not_describe_is_not_taken_for_another_key(key: str, words: str) -> None:
    problem = the_problem(FIVE.replace("channel = 16\n", f'channel = 16\n{key} = "x"\n'))
    assert problem.key == f"channel 16: {key}"
    assert words in problem.remedy
    assert "did you mean" not in problem.remedy


def test_of_a_feed_and_of_the_whole_job_too() -> None:
    relay = the_problem(FIVE.replace('id = "F1"\n', 'id = "F1"\nrelay = "K1"\n'))
    assert "close its relay" in relay.remedy
    volts = the_problem("supply_v = 24\n" + FIVE)
    assert "24 V" in volts.remedy


def test_no_key_that_exists_is_called_undescribed() -> None:
    for model in (Channel, Feed, Job):
        assert not NOT_DESCRIBED[model.__name__].keys() & model.model_fields.keys()


def test_a_missing_version_is_missed() -> None:
    problem = the_problem(FIVE.replace("schema_version = 1\n", ""))
    assert problem.key == "schema_version"
    assert "schema_version = 1" in problem.remedy


@pytest.mark.parametrize(
    ("code", "both"), [("GR", ("GY", "GN")), ("GR/BK", ("GY", "GN")), ("BL", ("BU", "BK"))]
)
def test_letters_for_two_colours_are_asked_back(code: str, both: tuple[str, str]) -> None:
    problem = the_problem(FIVE.replace('"GNBN"', f'"{code}"'))
    assert problem.key == "channel 2: wire"
    assert "either of two colours" in problem.reason
    assert all(colour in problem.remedy for colour in both)


@pytest.mark.parametrize("winding", [0, 1, 2, 3])
def test_one_mistyped_group_is_one_problem(winding: int) -> None:
    parts = BENCH.split('group = "flap"')
    assert len(parts) == 5
    text = (
        'group = "flap"'.join(parts[: winding + 1])
        + 'group = "flp"'
        + 'group = "flap"'.join(parts[winding + 1 :])
    )
    problem = the_problem(text)
    assert problem.key == f"channel {10 + winding}: group"
    assert problem.remedy == "did you mean `flap`?"


def test_two_windings_in_one_group_and_two_in_another_are_still_told() -> None:
    parts = BENCH.split('group = "flap"')
    text = 'group = "flap"'.join(parts[:3]) + 'group = "a"' + parts[3] + 'group = "a"' + parts[4]
    assert {p.reason for p in problems_of(text)} == {
        "stepper `flap` has 2 windings, not 4",
        "stepper `a` has 2 windings, not 4",
    }


@pytest.mark.parametrize(("fuse", "sound"), [("0.5", False), ("1", False), ("3", True), ("15", True)])
def test_a_fuse_that_its_own_loads_blow_is_a_mistake(fuse: str, sound: bool) -> None:
    """Five injectors of 14 ohm: 13.5 / 14 = 0.96 A each, 4.8 A together (Ohm's law)."""
    text = FIVE.replace("fuse_a = 15", f"fuse_a = {fuse}")
    if sound:
        assert parse_job(text).feeds[0].fuse_a == float(fuse)
        return
    problem = the_problem(text)
    assert problem.key == "feed F1: fuse_a"
    assert "0.96 A" in problem.reason or "4.8 A together" in problem.reason


def test_coils_and_inputs_do_not_count_against_a_fuse() -> None:
    job = parse_job(FIVE)
    assert steady_a(job.load_type(6)) is None
    assert steady_a(job.load_type(16)) is None
    assert steady_a(job.load_type(1)) == pytest.approx(13.5 / 14.0)


def test_an_injector_that_is_not_fitted_needs_no_place_of_its_own() -> None:
    lone = 'channel = 5\nname = "injector 5"'
    assert FIVE.count(lone) == 1
    text = FIVE.replace(lone, "fitted = false\n" + lone)
    start = text.index(lone)
    row = text.index('location = "inj5"\n', start)
    assert parse_job(text[:row] + text[row + len('location = "inj5"\n') :]).channel(5).location is None
    shared = text[:row] + 'location = "inj4"\n' + text[row + len('location = "inj5"\n') :]
    assert parse_job(shared).channel(5).fitted is False
