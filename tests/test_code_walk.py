"""The page that walks through the code names files and definitions that exist."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "code-walk.md"
ROW = re.compile(r"^\| (`[^|]+`) \| (`[^|]+`) \| (.+) \|$", re.MULTILINE)
C_DEFINITION = r"^(?:static )?(?:inline )?(?:const )?(?:struct )?\w+ \*?{name}\([^;]*?\)\s*\{{"


def rows():
    text = PAGE.read_text(encoding="utf-8")
    return [
        (path.strip("`"), name)
        for path, names, _ in ROW.findall(text)
        for name in re.findall(r"`([^`]+)`", names)
    ]


def defined_in_python(tree, name):
    """Whether a class, function, method (`Class.method`) or module constant of that name is defined."""
    here = [tree]
    for part in name.split("."):
        here = [
            child
            for node in here
            for child in ast.iter_child_nodes(node)
            if getattr(child, "name", None) == part
            or (isinstance(child, ast.Assign) and part in [getattr(t, "id", "") for t in child.targets])
            or (isinstance(child, ast.AnnAssign) and getattr(child.target, "id", "") == part)
        ]
    return bool(here)


@pytest.mark.parametrize(("path", "name"), rows())
def test_each_name_of_the_walk_is_defined_in_its_file(path, name):
    source = (ROOT / path).read_text(encoding="utf-8")
    if path.endswith(".py"):
        assert defined_in_python(ast.parse(source), name)
    else:
        assert re.search(C_DEFINITION.format(name=re.escape(name)), source, re.MULTILINE | re.DOTALL)


def test_the_walk_goes_from_the_key_to_the_pin_and_back():
    files = [path for path, _ in rows()]
    order = ["tui/pages", "procedure/session.py", "safety/approve.py", "box/client.py", "firmware/core"]
    places = [next(i for i, path in enumerate(files) if step in path) for step in order]
    assert places == sorted(places)
    assert files[-1] == "console/loomproof/records/report/page.py"


def test_every_row_of_the_page_is_checked():
    """A row that the pattern does not read would go unchecked."""
    lines = [line for line in PAGE.read_text(encoding="utf-8").splitlines() if line.startswith("| `")]
    assert len(lines) == len(ROW.findall(PAGE.read_text(encoding="utf-8"))) > 15


def test_a_name_that_does_not_exist_would_be_noticed():
    tree = ast.parse((ROOT / "console/loomproof/box/client.py").read_text(encoding="utf-8"))
    assert defined_in_python(tree, "Box.drive")
    assert not defined_in_python(tree, "Box.drive_train")
    core = (ROOT / "firmware/core/drive.c").read_text(encoding="utf-8")
    assert not re.search(C_DEFINITION.format(name="plan_nothing"), core, re.MULTILINE | re.DOTALL)
