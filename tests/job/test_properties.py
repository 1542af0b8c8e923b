"""Whatever is in a job file: what loads comes back unchanged, what does not is told and never crashes."""

import copy
import tomllib
from pathlib import Path
from typing import Any

import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.facts.kinds import LoadKind
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.file.loading import JobError, Problem, dump_job, job_digest, parse_job
from loomproof.job.model import Job
from loomproof.job.refused_circuits import refused_circuit
from loomproof.job.wire import COLOURS

EXAMPLES = [
    path.read_text(encoding="utf-8")
    for path in sorted((Path(__file__).parents[2] / "examples").glob("*.toml"))
]
JOBS = [text for text in EXAMPLES if "[[channels]]" in text]

texts = st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), min_size=1, max_size=12).filter(
    lambda text: refused_circuit(text) is None
)
sections = st.floats(0.13, 16) | st.sampled_from([0.35, 0.5, 0.75, 1, 1.5, 2.5, 4])
colours = st.sampled_from(COLOURS) | st.builds(
    "{}/{}".format, st.sampled_from(COLOURS), st.sampled_from(COLOURS)
)
simple_loads = st.sampled_from([key for key, load in CATALOGUE.items() if load.kind is not LoadKind.STEPPER])
quantities = st.fixed_dictionaries(
    {"value": st.floats(13, 15), "source": texts}, optional={"tolerance_percent": st.floats(0, 10)}
)


def optional(draw: st.DrawFn, row: dict[str, Any], key: str, values: st.SearchStrategy[Any]) -> None:
    if draw(st.booleans()):
        row[key] = draw(values)


@st.composite
def channels(draw: st.DrawFn, number: int) -> dict[str, Any]:
    load = draw(simple_loads)
    row: dict[str, Any] = {
        "channel": number,
        "name": draw(texts),
        "cavity": f"{draw(st.sampled_from(['H1', 'X.2']))}-{number}",
        "load": load,
        "location": f"place{number}",
    }
    optional(draw, row, "wire", colours)
    optional(draw, row, "section_mm2", sections)
    optional(draw, row, "length_m", st.floats(0.01, 60))
    optional(draw, row, "feed", st.just("F1"))
    optional(draw, row, "fitted", st.booleans())
    if CATALOGUE[load].fuel_pump:
        row["fuel_pump"] = True
    if load == "injector_high":
        optional(draw, row, "override", st.fixed_dictionaries({"resistance_ohm": quantities}))
    limits = CATALOGUE[load].limits
    frequency_hz = draw(st.floats(0.1, limits.max_frequency_hz))
    longest_ms = min(limits.max_on_time_ms, limits.max_duty * 1000 / frequency_hz)
    if longest_ms >= 0.05 and draw(st.booleans()):
        count = draw(st.integers(1, limits.max_count))
        on_time_ms = draw(st.floats(0.05, longest_ms))
        row["train"] = {"count": count, "frequency_hz": frequency_hz, "on_time_ms": on_time_ms}
    return row


@st.composite
def jobs(draw: st.DrawFn) -> dict[str, Any]:
    numbers = draw(st.lists(st.integers(1, 16), min_size=1, max_size=6, unique=True))
    job: dict[str, Any] = {
        "schema_version": 1,
        "identity": {"title": draw(texts), "job_number": draw(texts), "note": draw(texts)},
        "setting": draw(st.sampled_from(["bench", "vehicle", "classroom"])),
        "connectors": [{"id": "H1", "name": "a", "cavities": 16}, {"id": "X.2", "name": "b", "cavities": 99}],
        "feeds": [{"id": "F1", "name": draw(texts)}],
        "locations": [{"id": f"place{number}", "name": draw(texts)} for number in numbers],
        "channels": [draw(channels(number)) for number in numbers],
    }
    optional(draw, job, "ambient_c", st.floats(-40, 80))
    cylinders = draw(st.sampled_from([1, 2, 3, 5, 8]))
    order = [1, *draw(st.permutations(range(2, cylinders + 1)))]
    optional(draw, job, "engine", st.just({"cylinders": cylinders, "firing_order": order}))
    return job


@settings(max_examples=150, deadline=None)
@given(jobs())
def test_any_job_that_loads_comes_back_from_its_own_text(raw: dict[str, Any]) -> None:
    job = parse_job(tomlkit.dumps(raw))
    again = parse_job(dump_job(job))
    assert again == job
    assert job_digest(again) == job_digest(job)
    for number in (channel.channel for channel in job.channels):
        assert job.wire_ohm(number) > 0
        assert number not in job.sisters(number)
        assert job.load_type(number).key == job.channel(number).load


def test_the_digest_sees_content_and_not_layout() -> None:
    text = JOBS[0]
    assert job_digest(parse_job(text + "\n# a remark\n")) == job_digest(parse_job(text))
    changed = text.replace("length_m = 1.8", "length_m = 1.81", 1)
    assert changed != text
    assert job_digest(parse_job(changed)) != job_digest(parse_job(text))


def outcome(text: str) -> Job | tuple[Problem, ...]:
    try:
        return parse_job(text)
    except JobError as error:
        return error.problems


def assert_loads_or_tells(text: str) -> None:
    result = outcome(text)
    if isinstance(result, Job):
        assert parse_job(dump_job(result)) == result
        return
    assert result
    for problem in result:
        assert problem.line is not None
        assert 1 <= problem.line <= text.count("\n") + 1
        assert problem.key
        assert problem.reason
        assert problem.remedy


@st.composite
def maimed_texts(draw: st.DrawFn) -> str:
    rows = draw(st.sampled_from(JOBS)).split("\n")
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(rows) - 1))
        match draw(st.sampled_from(["drop", "double", "swap", "cut", "insert", "splice"])):
            case "drop":
                del rows[at]
            case "double":
                rows.insert(at, rows[at])
            case "swap":
                other = draw(st.integers(0, len(rows) - 1))
                rows[at], rows[other] = rows[other], rows[at]
            case "cut":
                rows[at] = rows[at][: draw(st.integers(0, len(rows[at])))]
            case "insert":
                rows.insert(
                    at, draw(st.sampled_from(["[[channels]]", "[x", "= 3", "a = [", 'b = """', "\x00", "]"]))
                )
            case "splice":
                where = draw(st.integers(0, len(rows[at])))
                rows[at] = rows[at][:where] + draw(st.text(max_size=3)) + rows[at][where:]
        rows = rows or [""]
    return "\n".join(rows)


@settings(max_examples=200, deadline=None)
@given(maimed_texts())
def test_a_maimed_file_is_told_and_never_crashes(text: str) -> None:
    assert_loads_or_tells(text)


anything = st.recursive(
    st.booleans()
    | st.integers(-(2**63), 2**63 - 1)
    | st.floats()
    | st.dates()
    | st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=6),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text("abc_", min_size=1), inner, max_size=3)
    ),
    max_leaves=4,
)


def slots(value: Any) -> list[tuple[Any, Any]]:
    """Every (container, key) in a parsed job."""
    found: list[tuple[Any, Any]] = []
    pairs = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in pairs:
        found.append((value, key))
        found.extend(slots(inner))
    return found


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(JOBS), st.data())
def test_any_value_anywhere_is_told_and_never_crashes(text: str, data: st.DataObject) -> None:
    raw = copy.deepcopy(tomllib.loads(text))
    for _ in range(data.draw(st.integers(1, 3))):
        container, key = data.draw(st.sampled_from(slots(raw)))
        container[key] = data.draw(anything)
    assert_loads_or_tells(tomlkit.dumps(raw))


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=40))
def test_any_text_is_told_and_never_crashes(text: str) -> None:
    assert_loads_or_tells(text)
