"""Where a key was written, for the ways TOML lets one write it."""

import tomllib
from typing import Any

import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.job.file.positions import Path, find_positions

TEXT = '''\
# a comment
a = 1

[t]  # with a comment
"quoted key" = "x"
b.c = 2
long = """
[not.a.header]
d = 3
"""
e = [
  1,
  { f = 2 }, { f = 3 },
  # between
  { f = 4 },
]
[[rows]]
id = 1
[rows.inner]
x = 1
[[rows]]
id = 2
inner = { x = 2 }
[[rows.deep]]
y = 1
[[rows.deep]]
y = 2
'''


def test_every_way_of_writing_a_key() -> None:
    line = find_positions(TEXT).line
    expected: dict[Path, int] = {
        ("a",): 2,
        ("t",): 4,
        ("t", "quoted key"): 5,
        ("t", "b", "c"): 6,
        ("t", "long"): 7,
        ("t", "e"): 11,
        ("t", "e", 0): 12,
        ("t", "e", 1, "f"): 13,
        ("t", "e", 2): 13,
        ("t", "e", 3, "f"): 15,
        ("rows",): 17,
        ("rows", 0, "id"): 18,
        ("rows", 0, "inner", "x"): 20,
        ("rows", 1): 21,
        ("rows", 1, "inner", "x"): 23,
        ("rows", 1, "deep", 0, "y"): 25,
        ("rows", 1, "deep", 1, "y"): 27,
    }
    assert {path: line(path) for path in expected} == expected


def test_what_is_not_there_is_told_at_what_is_around_it() -> None:
    positions = find_positions(TEXT)
    assert positions.line(("rows", 1, "missing")) == 21
    assert positions.line(("nowhere",)) is None


VALUES = st.recursive(
    st.booleans() | st.integers(-9, 9) | st.text("ab'\"\n#[]=", max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text("ab.", max_size=3), inner, max_size=3)
    ),
    max_leaves=12,
)


@settings(max_examples=200, deadline=None)
@given(st.dictionaries(st.text("xyz", min_size=1, max_size=2), VALUES, max_size=5))
def test_every_key_of_any_text_has_a_line_that_the_text_has(value: dict[str, Any]) -> None:
    text = tomlkit.dumps(value)
    assert tomllib.loads(text) == value
    positions = find_positions(text)
    for key in value:
        line = positions.line((key,))
        assert line is not None
        assert key in text.split("\n")[line - 1]
