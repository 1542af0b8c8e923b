"""Editing a job file: only what is changed changes, comments stay, every state can be gone back to."""

import difflib
import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.job.file.document import JobDocument, typed_value
from loomproof.job.file.loading import parse_job
from loomproof.job.file.text_edits import EditError

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.toml"))
BASE = """\
# head
schema_version = 1
setting = "bench"

[identity]
title = "Rig"
job_number = "R-1"

[[connectors]]
id = "H1"
name = "header"
cavities = 8

# the first place
[[locations]]
id = "k1"
name = "relay K1"

[[channels]]
channel = 1 # the first
name = "relay K1"
cavity = "H1-3" # by the latch
load = "relay_diode"
location = "k1"

# about the second
[[channels]]
channel = 2
name = "horn"
cavity = "H1-4"
load = "relay_diode"
train = { count = 2, frequency_hz = 1, on_time_ms = 50 } # short

# the end
"""


def changed_lines(before: str, after: str) -> list[str]:
    lines = difflib.ndiff(before.split("\n"), after.split("\n"))
    return [line for line in lines if line[0] in "+-"]


@pytest.mark.parametrize(
    ("key", "value", "lines"),
    [
        ("cavity", "H1-5", ['- cavity = "H1-3" # by the latch', '+ cavity = "H1-5" # by the latch']),
        ("wire", "GN/WH", ['+ wire = "GN/WH"']),
        ("location", None, ['- location = "k1"']),
        ("override.hazard", "motion", ['+ override = {hazard = "motion"}']),
        ("feed", None, []),
    ],
)
def test_only_the_one_line_changes(key, value, lines):
    document = JobDocument(BASE)
    document.set("channels", 0, key, value)
    assert changed_lines(BASE, document.text) == lines


def test_a_new_key_stands_where_it_belongs_and_not_below_the_next_comment():
    document = JobDocument(BASE)
    document.set("channels", 0, "wire", "GN")
    document.set("channels", 0, "fitted", False)
    text = document.text
    assert 'cavity = "H1-3" # by the latch\nwire = "GN"\nload' in text
    assert 'location = "k1"\nfitted = false\n\n# about the second\n[[channels]]' in text


def test_inside_an_inline_table():
    document = JobDocument(BASE)
    document.set("channels", 1, "train.count", 4)
    assert "train = { count = 4, frequency_hz = 1, on_time_ms = 50 } # short" in document.text
    for key in ("train.count", "train.frequency_hz", "train.on_time_ms"):
        document.set("channels", 1, key, None)
    assert "train" not in document.text


def test_adding_and_removing_tables_keeps_the_comments_around_them():
    document = JobDocument(BASE)
    document.add("channels", {"channel": 3, "name": "fan", "cavity": "H1-6", "load": "fan_relay"})
    assert (
        document.text.index("# short")
        < document.text.index('name = "fan"')
        < document.text.index("# the end")
    )
    document.remove("channels", 0)
    assert "# about the second" in document.text
    assert "relay K1" in document.text  # the location's name
    assert [row["channel"] for row in document.rows("channels")] == [2, 3]
    document.add("feeds", {"id": "F1", "name": "fuse 1"})
    assert (
        document.text.index("[[connectors]]")
        < document.text.index("[[feeds]]")
        < document.text.index("[[locations]]")
    )
    assert "# the first place\n[[locations]]" in document.text


def test_the_head_of_the_job():
    document = JobDocument(BASE)
    document.set("", 0, "setting", "vehicle")
    document.set("", 0, "ambient_c", 18)
    document.set("identity", 0, "title", "Rig 8")
    document.set("identity", 0, "note", "new")
    assert changed_lines(BASE, document.text) == [
        '- setting = "bench"',
        '+ setting = "vehicle"',
        "+ ambient_c = 18",
        '- title = "Rig"',
        '+ title = "Rig 8"',
        '+ note = "new"',
    ]
    with pytest.raises(EditError, match="no \\[engine\\] table"):
        document.set("engine", 0, "cylinders", 4)


def test_undo_and_redo_go_through_every_state():
    document = JobDocument(BASE)
    states = [BASE]
    for step, value in enumerate(["H1-5", "H1-6", "H1-7"]):
        document.set("channels", 0, "cavity", value)
        states.append(document.text)
        assert document.can_undo, step
    for state in reversed(states[:-1]):
        assert document.undo() == "cavity changed"
        assert document.text == state
    assert document.undo() is None
    for state in states[1:]:
        assert document.redo() == "cavity changed"
        assert document.text == state
    assert document.redo() is None
    document.undo()
    document.set("channels", 0, "name", "other")
    assert not document.can_redo


def test_typing_is_one_state():
    document = JobDocument(BASE)
    for more in ("#a", "#ab", "#abc"):
        document.change(BASE + more, "text typed", join=True)
    assert document.undo() == "text typed"
    assert document.text == BASE


def test_problems_are_found_again_in_their_table():
    document = JobDocument(BASE)
    document.set("channels", 1, "load", "relay_dioed")
    document.set("channels", 1, "cavity", "H1-3")
    places = {document.place_of(problem) for problem in document.problems}
    assert places == {("channels", 1, "load"), ("channels", 1, "cavity")}
    document.set("channels", 1, "name", None)
    missing = next(problem for problem in document.problems if "missing" in problem.reason)
    assert document.place_of(missing) == ("channels", 1, "name")


def test_a_text_that_is_no_toml_is_kept_and_told():
    document = JobDocument(BASE)
    document.change(BASE + "x = [", "text typed")
    assert document.rows("channels") is None
    assert document.problems
    assert document.place_of(document.problems[0]) is None
    with pytest.raises(EditError, match="not TOML"):
        document.set("channels", 0, "name", "x")


def test_what_only_the_text_can_change_is_told():
    inline = 'channels = [{ channel = 1, name = "x" }]\n'
    with pytest.raises(EditError, match=r"not written as \[\[channels\]\]"):
        JobDocument(inline).set("channels", 0, "name", "y")
    own = BASE.replace("# about the second", '[channels.override]\nhazard = "motion"\n')
    with pytest.raises(EditError, match="a table of its own"):
        JobDocument(own).set("channels", 0, "override.hazard", "heat")
    document = JobDocument(own)
    document.remove("channels", 0)
    assert "override" not in document.text


@pytest.mark.parametrize(
    ("key", "text", "value"),
    [
        ("channel", "3", 3), ("channel", "3.5", 3.5), ("channel", "x", "x"), ("section_mm2", "0,75", 0.75),
        ("length_m", "thick", "thick"), ("fitted", "no", False), ("fitted", "perhaps", "perhaps"), ("name", " a ", "a"),
        ("channel", "inf", math.inf), ("name", "  ", None), ("firing_order", "1-3, 4 2", [1, 3, 4, 2]),
    ],
)  # fmt: skip
def test_typed_values(key, text, value):
    assert typed_value(key, text) == value


KEYS = st.sampled_from(
    ["name", "cavity", "wire", "section_mm2", "load", "location", "fitted", "override.hazard", "train.count"]
)
VALUES = st.none() | st.text(max_size=8) | st.integers(-5, 50) | st.booleans() | st.floats(0, 10)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(EXAMPLES), st.data())
def test_any_edit_of_an_example_changes_that_value_alone_and_undoes(path, data):
    text = path.read_text(encoding="utf-8")
    document = JobDocument(text)
    raw = document.raw()
    index = data.draw(st.integers(0, len(raw["channels"]) - 1))
    key, value = data.draw(KEYS), data.draw(VALUES)
    comments = [line for line in text.split("\n") if line.lstrip().startswith("#")]
    changed = document.set("channels", index, key, value)
    assert [line for line in document.text.split("\n") if line.lstrip().startswith("#")] == comments
    now = document.raw()
    outer, _, inner = key.partition(".")
    got = now["channels"][index].get(outer)
    assert (got.get(inner) if inner and isinstance(got, dict) else got) == value
    for row in (raw["channels"][index], now["channels"][index]):
        row.pop(outer, None)
    assert now == raw
    if changed:
        document.undo()
    assert document.text == text
    assert document.job == parse_job(text)
