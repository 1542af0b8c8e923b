"""The mutation run: which errors it makes, that tests decide over them, and that its list of equivalents is not stale."""

import subprocess
import sys
import textwrap
from collections import Counter
from pathlib import Path

import pytest

from benchmarks.mutants import c_guards
from benchmarks.mutants.c_mutate import c_mutants
from benchmarks.mutants.interval import wilson
from benchmarks.mutants.mutate import enums_of, mutants_of
from benchmarks.mutants.room import ROOMS, equivalents, population

ROOT = Path(__file__).parents[2]
ENUMS = {"Colour": (("RED", "BLUE"),)}


def changes(text):
    return [(mutant.before, mutant.after) for mutant in mutants_of("a.py", text.encode(), ENUMS)]


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("a < b", ["a <= b", "a >= b"]),
        ("a < b <= c", ["a < b < c", "a < b > c", "a <= b <= c", "a >= b <= c"]),
        ("a is not b", ["a is b"]),
        ("a not in b", ["a in b"]),
        ("x = a + b * c", ["x = a + b / c", "x = a - b * c"]),
        ("x = (a) - (b)", ["x = (a) + (b)"]),
        ("x += y", ["x -= y"]),
        ("x = 3", ["x = (2)", "x = 4"]),
        ("x = 2.0", ["x = 1.8", "x = 2.2"]),
        ("x = 0.0", ["x = 1.0"]),
        ("x = True", ["x = False"]),
        ("a and b or c", ["a and b and c", "a or b or c"]),
        ("x = not a", ["x = (a)"]),
        ("x = Colour.RED", ["x = Colour.BLUE"]),
        ("x = m.Colour.BLUE", ["x = m.Colour.RED"]),
        ("x = min(a, b)", ["x = max(a, b)"]),
        ("x = math.ceil(a)", ["x = math.floor(a)"]),
        ("f(a)", ["pass"]),
        ("x = f(a=b, c=d)", ["x = f(a=d, c=b)"]),
        ("raise a", ["pass"]),
        ("x = a if b else c", ["x = a if (not (b)) else c"]),
    ],
)
def test_the_errors_of_a_line(line, expected):
    assert sorted(after for _, after in changes(line)) == sorted(expected)


@pytest.mark.parametrize(
    "text",
    [
        '"""A docstring of 3 words."""',
        "x: int | None",
        "def f(a: int | None) -> int | None: ...",
        "@dataclass(frozen=True)\nclass C: ...",
        "x = f'{a + 1}'",
        "x = 'a' + b",
        "assert_never(x)",
        "return None",
    ],
)
def test_words_annotations_and_decorators_are_left_alone(text):
    assert changes(text) == []


def test_a_return_gives_nothing_and_a_plain_one_is_only_turned_round():
    assert ("return a", "return None") in changes("def f():\n    return a\n")
    assert changes("def f():\n    return True\n") == [("return True", "return False")]


def test_a_mutant_names_its_place_and_changes_that_alone():
    source = "class A:\n    LIMIT = 5\n\n    def f(self, x):  # é\n        return x > self.LIMIT\n"
    mutants = mutants_of("a.py", source.encode(), ENUMS)
    boundary = next(mutant for mutant in mutants if mutant.text == ">=")
    assert (boundary.where, boundary.line) == ("A.f", 5)
    assert boundary.key == ("a.py", "A.f", "return x > self.LIMIT", "return x >= self.LIMIT")
    assert boundary.apply(source.encode()).decode() == source.replace("x > ", "x >= ")


def test_members_of_enumerations_are_found(tmp_path):
    path = tmp_path / "a.py"
    path.write_text("class Colour(StrEnum):\n    RED = 'r'\n    BLUE = 'b'\n\nclass Other:\n    X = 1\n")
    assert enums_of([path]) == ENUMS


@pytest.mark.parametrize("room", ROOMS, ids=lambda room: room.name)
def test_a_room_has_sources_tests_and_errors_that_compile(room):
    assert room.files()
    assert room.test_files()
    mutants = population(room)
    assert len(mutants) > 300
    for mutant in mutants[:: len(mutants) // 25]:
        compile(mutant.apply((ROOT / mutant.path).read_bytes()), mutant.path, "exec")


def test_tests_that_import_the_source_come_first_and_none_is_left_out():
    room = ROOMS[0]
    near, rest = room.stages("console/loomproof/safety/trains.py")
    assert sorted([*near, *rest]) == sorted(room.test_files())
    assert "tests/safety/test_trains_limits.py" in near
    assert "tests/safety/test_heat.py" in rest
    near, _ = room.stages("console/loomproof/safety/cautions.py")
    assert (
        "tests/safety/test_interlocks_limits.py" in near
    )  # imports it by `from loomproof.safety import cautions`


def test_every_equivalent_is_still_there_and_has_its_reason():
    there = {mutant.key for room in ROOMS for mutant in population(room)}
    for key, why in equivalents().items():
        assert key in there, key
        assert len(why) > 15, key


def test_every_equivalent_of_the_c_guards_is_still_there_once_and_has_its_reason():
    there = Counter(mutant.key for name in c_guards.GUARDS for mutant in c_mutants(c_guards.CORE / name))
    for key, why in c_guards.equivalents().items():
        assert there[key] == 1, key
        assert len(why) > 15, key


def test_the_errors_of_a_c_file(tmp_path):
    path = tmp_path / "a.c"
    path.write_text("#define NONE 0U\n#define MOST 9U\nint over(int x)\n{\n    return x > 3 ? x : 0;\n}\n")
    found = sorted((mutant.before, mutant.after) for mutant in c_mutants(path))
    assert found == [
        ("0", "1"),
        ("0", "1"),
        ("3", "2"),
        ("3", "4"),
        ("9", "10"),
        ("9", "8"),
        (">", "<="),
        (">", ">="),
        ("x > 3", "0"),
        ("x > 3", "1"),
    ]


@pytest.mark.parametrize(
    ("hits", "count", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_the_interval_is_the_published_one(hits, count, low, high):
    """R. G. Newcombe, Statistics in Medicine 17 (1998), table I, method 3 (from memory)."""
    assert wilson(hits, count) == pytest.approx((low, high), abs=5e-5)


RUN = """
AFTER = ("return x >= 3", "UNTRIED = 8", "y += 1")
from pathlib import Path
from benchmarks.mutants.room import Room, population
from benchmarks.mutants.trial import try_all
from benchmarks.mutants import trial
trial.LEAST_LIMIT_S = 1.0
root = Path("tree")
room = Room("one", ("console/loomproof/*.py",), ("tests/test_*.py",), 0.5, bystanders=())
mutants = [mutant for mutant in population(room, root) if mutant.after in AFTER]
for mutant, fate in try_all(root, mutants, room, jobs=1, report=lambda line: None):
    print(fate.value, mutant.after)
"""


def tried(tmp_path, source):
    """Try some mutants of a small source; returns a line for each."""
    tree = tmp_path / "tree"
    for folder in ("console/loomproof", "tests", "shared", "firmware_sim"):
        (tree / folder).mkdir(parents=True)
    (tree / "pyproject.toml").write_text("[tool.pytest.ini_options]\n")
    (tree / "console/loomproof/__init__.py").write_text("")
    (tree / "console/loomproof/limits.py").write_text(source)
    (tree / "tests/test_limits.py").write_text(
        textwrap.dedent("""
        from loomproof.limits import over
        def test_over():
            assert over(4) and not over(3)
        """)
    )
    run = subprocess.run(
        [sys.executable, "-c", RUN],
        cwd=tmp_path,
        env={"PYTHONPATH": str(ROOT), "PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        check=True,
    )
    return run.stdout.splitlines()


def test_a_test_kills_an_error_one_that_never_ends_is_a_timeout_and_what_nobody_tests_survives(tmp_path):
    source = "UNTRIED = 7\n\n\ndef over(x):\n    y = x\n    while y > 3:\n        y -= 1\n    return x > 3\n"
    assert sorted(tried(tmp_path, source)) == [
        "killed return x >= 3",
        "survived UNTRIED = 8",
        "timeout y += 1",
    ]
    assert (tmp_path / "tree/console/loomproof/limits.py").read_text() == source
