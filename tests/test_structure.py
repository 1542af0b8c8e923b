"""The shape of the code, held by tests: no cycle, imports at the top, empty package faces, modules of a readable size.

Import-linter keeps the layers (`pyproject.toml`); this file keeps what a contract cannot say.
"""

import ast
import sys
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import grimp
import pytest

ROOT = Path(__file__).parents[1]
SOURCES = {
    "loomproof": ROOT / "console/loomproof",
    "loomproof_sim": ROOT / "firmware_sim/loomproof_sim",
    "loomproof_wire": ROOT / "shared/loomproof_wire",
    "loomproof_cosim": ROOT / "firmware/cosim/loomproof_cosim",
}
MODULES = {
    path: ast.parse(path.read_text(encoding="utf-8"))
    for source in SOURCES.values()
    for path in sorted(source.rglob("*.py"))
}
GENERATED = {ROOT / "shared/loomproof_wire/messages.py"}
MOST_LINES, LEAST_LINES = 400, 15
ARGUMENTS_THAT_NEED_WORDS = 4
SHORT_WITH_REASON = {
    "console/loomproof/cli/exit_codes.py": "commands share them, and importing a command to get them would close a cycle",
    "firmware_sim/loomproof_sim/plant/loads/logic.py": "one module for each kind of load",
    "firmware_sim/loomproof_sim/__main__.py": "what `python -m loomproof_sim` runs",
}
TYPES_ONLY = {
    "firmware_sim/loomproof_sim/urls/protocol_sim.py": "_typeshed exists for the type checker alone",
    "console/loomproof/tui/widgets/bigtext.py": "pillow is loaded for large letters alone",
    "console/loomproof/cli/box_check/hands.py": "the simulator is loaded when it is asked for alone",
}


def short(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def test_no_module_imports_itself_by_way_of_others() -> None:
    """Counts every import, whether it stands at the top, in a function or for the type checker alone."""
    graph = grimp.build_graph(*SOURCES, include_external_packages=False, cache_dir=None)
    assert len(graph.modules) > 300
    order = TopologicalSorter({m: graph.find_modules_directly_imported_by(m) for m in graph.modules})
    try:
        order.prepare()
    except CycleError as error:
        pytest.fail(" -> ".join(error.args[1]))


def test_imports_for_types_alone_are_few_and_have_a_reason() -> None:
    found = {
        short(path)
        for path, tree in MODULES.items()
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)
    }
    assert found == set(TYPES_ONLY)


def test_the_face_of_a_package_is_a_docstring() -> None:
    """A package that imports its modules makes every command load all of them."""
    allowed = (ast.Expr, ast.Assign, ast.AnnAssign)
    heavy = [
        short(path)
        for path, tree in MODULES.items()
        if path.name == "__init__.py" and not all(isinstance(node, allowed) for node in tree.body)
    ]
    assert heavy == []


def test_facts_import_the_standard_library_numpy_and_each_other() -> None:
    light = sys.stdlib_module_names | {"numpy"}
    for path, tree in MODULES.items():
        if path.parent != SOURCES["loomproof"] / "facts":
            continue
        for node in ast.walk(tree):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            for name in names:
                assert name.split(".")[0] in light or name.startswith("loomproof.facts."), (
                    f"{path.name}: {name}"
                )


def test_modules_have_a_readable_size() -> None:
    sizes = {path: len(path.read_text(encoding="utf-8").splitlines()) for path in MODULES}
    long = {short(path): n for path, n in sizes.items() if n > MOST_LINES and path not in GENERATED}
    brief = {short(path) for path, n in sizes.items() if n < LEAST_LINES and path.name != "__init__.py"}
    assert long == {}
    assert brief == set(SHORT_WITH_REASON)


def test_a_class_name_has_one_meaning() -> None:
    places: dict[str, list[str]] = {}
    for path, tree in MODULES.items():
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                places.setdefault(node.name, []).append(short(path))
    shared = {name: paths for name, paths in places.items() if len(paths) > 1}
    assert set(shared) == {"Serial"}, shared  # the name that pyserial asks a handler for


def test_public_functions_with_four_arguments_say_what_each_is() -> None:
    """Commands say it in their help: typer reads it off the signature."""
    silent = [
        f"{short(path)}:{node.lineno} {node.name}"
        for path, tree in MODULES.items()
        for node in public_functions(tree)
        if len(named_arguments(node)) >= ARGUMENTS_THAT_NEED_WORDS
        and not any("typer" in ast.unparse(a) or "Annotated" in ast.unparse(a) for a in annotations(node))
        and "Args:" not in (ast.get_docstring(node) or "")
    ]
    assert silent == []


def public_functions(tree: ast.Module) -> list[ast.FunctionDef | ast.AsyncFunctionDef]:
    """Those of a module and of its classes, not those inside another function."""
    bodies = [tree.body, *(node.body for node in tree.body if isinstance(node, ast.ClassDef))]
    return [
        node
        for body in bodies
        for node in body
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and not node.name.startswith("_")
    ]


def named_arguments(node: ast.FunctionDef | ast.AsyncFunctionDef) -> list[ast.arg]:
    every = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    return [argument for argument in every if argument.arg not in ("self", "cls")]


def annotations(node: ast.FunctionDef | ast.AsyncFunctionDef) -> list[ast.expr]:
    return [argument.annotation for argument in named_arguments(node) if argument.annotation is not None]
