"""The pages name what exists: links, repository paths, modules, `make` targets, commands and their options.

`docs/code-walk.md` has a test of its own, and the changelog may name what is gone.
"""

import ast
import re
from functools import cache
from pathlib import Path

import pytest
import typer
from typer.core import TyperCommand, TyperGroup

from loomproof.cli.app import build_app
from loomproof_sim.cli import build_app as build_sim_app

ROOT = Path(__file__).resolve().parents[1]
PAGES = [
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    *sorted(path for path in (ROOT / "docs").glob("*.md") if path.name != "code-walk.md"),
]
SOURCE_ROOTS = ("shared", "firmware_sim", "console", "firmware/cosim", "")
TOPS = (
    "shared", "firmware_sim", "firmware", "console", "examples", "testbed", "tests", "benchmarks", "docs", "tools",
    "requirements", "loomproof", "loomproof_sim", "loomproof_wire", "loomproof_cosim",
)  # fmt: skip
MADE = ("build/", "out/")
"""Folders that a command makes."""
LINK = re.compile(r"\]\(([^)\s]+)\)")
CODE = re.compile(r"`([^`\n]+)`|```[a-z]*\n(.*?)```", re.DOTALL)
INDENTED = re.compile(r"^    (\S.*)$", re.MULTILINE)
IMPORT = re.compile(r"from (\w[\w.]*) import ([\w, ]+)")
PATH = re.compile(rf"(?<![\w./:~-])((?:{'|'.join(TOPS)})/[\w./*-]*)")
MODULE = re.compile(
    r"(?<![\w./])((?:loomproof|loomproof_sim|loomproof_wire|loomproof_cosim|benchmarks|testbed)(?:\.\w+)+)"
)
MAKE = re.compile(r"(?:^|\s)make((?:\s+-C\s+\S+)?)\s+([a-z][a-z0-9-]*)(?![\w.(])", re.MULTILINE)
COMMAND = re.compile(r"(?:^|\s|/)(loomproof(?:-sim)?) ([a-z][a-z-]*)([^\n|]*)")
OPTION = re.compile(r"(?<![\w-])(--[a-z][a-z-]*)")


def code_of(page: Path) -> list[str]:
    """Return the code spans and blocks of a page; a line that ends with a backslash goes on."""
    text = page.read_text(encoding="utf-8")
    found = [(span or block).replace("\\\n", " ") for span, block in CODE.findall(text)]
    return found + INDENTED.findall(text)


@cache
def headings(page: Path) -> frozenset[str]:
    lines = re.findall(r"^#+ (.+)$", page.read_text(encoding="utf-8"), re.MULTILINE)
    return frozenset(re.sub(r"[^\w -]", "", line.lower()).strip().replace(" ", "-") for line in lines)


@cache
def names_in(path: Path) -> frozenset[str]:
    """Return the names at the top of a module, and the members of its classes as `Class.member`."""
    found = set()
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        for name in _bound(node):
            found.add(name)
        if isinstance(node, ast.ClassDef):
            found |= {f"{node.name}.{name}" for inner in node.body for name in _bound(inner)}
    return frozenset(found)


def _bound(node: ast.stmt) -> list[str]:
    if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
        return [node.name]
    targets = node.targets if isinstance(node, ast.Assign) else []
    targets = [node.target] if isinstance(node, ast.AnnAssign) else targets
    return [target.id for target in targets if isinstance(target, ast.Name)]


def module_exists(dotted: str) -> bool:
    """Return whether a dotted name is a module, a package, or a name in a module."""
    parts = dotted.split(".")
    for root in SOURCE_ROOTS:
        for length in range(len(parts), 0, -1):
            base = ROOT / root / Path(*parts[:length])
            rest = ".".join(parts[length:])
            if base.is_dir() and not rest:
                return True
            file = base.with_suffix(".py")
            if file.is_file():
                return not rest or rest in names_in(file)
    return False


def path_exists(text: str) -> bool:
    text = text.rstrip(".")
    places = [ROOT / root for root in SOURCE_ROOTS]
    if "*" in text:
        return any(next(iter(place.glob(text.rstrip("/"))), None) is not None for place in places)
    return any((place / text).exists() for place in places)


@cache
def make_targets(folder: str) -> frozenset[str]:
    text = (ROOT / folder / "Makefile").read_text(encoding="utf-8")
    return frozenset(re.findall(r"^([a-z][\w-]*):", text, re.MULTILINE))


@cache
def commands(program: str) -> dict[str, frozenset[str]]:
    """Return each command of a program with its options, those of its subcommands included."""
    app = build_app() if program == "loomproof" else build_sim_app()
    group = typer.main.get_group(app)
    context = typer.Context(group)
    return {
        name: frozenset(_options(group.get_command(context, name), context)) | {"--help"}
        for name in group.list_commands(context)
    }


def _options(command: TyperCommand | TyperGroup, context: typer.Context) -> set[str]:
    found = {text for one in command.params for text in (*one.opts, *one.secondary_opts)}
    if isinstance(command, TyperGroup):
        inner = typer.Context(command, parent=context)
        for name in command.list_commands(inner):
            found |= _options(command.get_command(inner, name), inner)
    return found


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_to_files_and_headings(page: Path) -> None:
    wrong = []
    for target in LINK.findall(page.read_text(encoding="utf-8")):
        if target.startswith(("http:", "https:")):
            continue
        name, _, anchor = target.partition("#")
        file = (page.parent / name).resolve() if name else page
        if not file.exists() or (anchor and anchor not in headings(file)):
            wrong.append(target)
    assert wrong == []


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_paths_exist(page: Path) -> None:
    named = {path for code in code_of(page) for path in PATH.findall(code)}
    assert sorted(path for path in named if not path.startswith(MADE) and not path_exists(path)) == []


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_modules_and_their_names_exist(page: Path) -> None:
    files = (".py", ".toml", ".json", ".md")
    named = {name for code in code_of(page) for name in MODULE.findall(code) if not name.endswith(files)}
    imports = [found for code in code_of(page) for found in IMPORT.findall(code)]
    named |= {f"{module}.{name.strip()}" for module, names in imports for name in names.split(",")}
    assert sorted(name for name in named if not module_exists(name)) == []


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_make_targets_exist(page: Path) -> None:
    wrong = []
    for code in code_of(page):
        for where, target in MAKE.findall(code):
            folder = where.split()[-1] if where.strip() else "."
            if target not in make_targets(folder):
                wrong.append(f"{where} {target}")
    assert wrong == []


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_commands_and_their_options_exist(page: Path) -> None:
    wrong = []
    for code in code_of(page):
        for program, command, rest in COMMAND.findall(code):
            known = commands(program)
            if command not in known:
                wrong.append(f"{program} {command}")
            else:
                wrong += [f"{command} {one}" for one in OPTION.findall(rest) if one not in known[command]]
    assert wrong == []


def test_the_checks_can_fail() -> None:
    """A name that does not exist is not found, so that an empty list means something."""
    assert not path_exists("console/loomproof/nowhere.py")
    assert not module_exists("loomproof.records.nowhere")
    assert not module_exists("loomproof.records.store.Nowhere")
    assert module_exists("loomproof.records.store.RecordStore.resume")
    assert "nowhere" not in make_targets(".") | set(commands("loomproof"))
    assert "--box" in commands("loomproof")["prove"]
    assert sum(len(PATH.findall(code)) for page in PAGES for code in code_of(page)) > 30
    assert sum(len(COMMAND.findall(code)) for page in PAGES for code in code_of(page)) > 30
