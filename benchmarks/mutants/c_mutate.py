"""Mutants of C: one operator, condition, number or statement changed, found in clang's syntax tree.

Every mutant is C that compiles: places and kinds come from `clang -ast-dump=json`, not from patterns in the text.
"""

import json
import re
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

Node = dict[str, Any]

OPERATORS: dict[str, tuple[str, ...]] = {
    "<": ("<=", ">="),
    "<=": ("<", ">"),
    ">": (">=", "<="),
    ">=": (">", "<"),
    "==": ("!=",),
    "!=": ("==",),
    "&&": ("||",),
    "||": ("&&",),
    "+": ("-",),
    "-": ("+",),
    "*": ("/",),
    "/": ("*",),
    "%": ("/",),
    "<<": (">>",),
    ">>": ("<<",),
    "&": ("|",),
    "|": ("&",),
    "+=": ("-=",),
    "-=": ("+=",),
}
CONDITIONS = {"IfStmt": 0, "WhileStmt": 0, "ConditionalOperator": 0}
"""Node that branches -> which of its parts is the condition."""
NUMBER = re.compile(r"(?:0[xX][0-9A-Fa-f]+|\d+)(?=[uUlL]*$)")
DEFINED = re.compile(r"^#define (\w+) (\d+)([UL]*)(?= |$)", re.MULTILINE)


@dataclass(frozen=True)
class CMutant:
    """One error: what stands from `start` to `end` becomes `after`."""

    file: str
    function: str
    line: int
    start: int
    end: int
    before: str
    after: str
    code: str
    """Its line of the source."""

    @property
    def key(self) -> tuple[str, str, str, str, str]:
        """What it is, whatever its line's number."""
        return self.file, self.function, self.code, self.before, self.after

    def apply(self, text: str) -> str:
        """Return the source with the error in it."""
        assert text[self.start : self.end] == self.before
        return text[: self.start] + self.after + text[self.end :]

    def __str__(self) -> str:
        return f"{self.file}:{self.line} {self.function}: {self.before!r} -> {self.after!r} in {self.code!r}"


@dataclass(frozen=True)
class _Source:
    name: str
    text: str

    def mutant(self, function: str, start: int, end: int, after: str) -> CMutant:
        line = self.text.count("\n", 0, start) + 1
        code = self.text.splitlines()[line - 1].strip()
        return CMutant(self.name, function, line, start, end, self.text[start:end], after, code)


def _place(position: Node) -> tuple[int, int]:
    """Where a token begins and ends; of a macro, where it is used."""
    at = position.get("expansionLoc", position)
    return at["offset"], at["offset"] + at["tokLen"]


def _span(node: Node) -> tuple[int, int]:
    return _place(node["range"]["begin"])[0], _place(node["range"]["end"])[1]


def _is_macro(node: Node) -> bool:
    return "expansionLoc" in node["range"]["begin"] or "expansionLoc" in node["range"]["end"]


def _operators(source: _Source, function: str, node: Node) -> Iterator[CMutant]:
    left, right = node["inner"]
    start, end = _span(left)[1], _span(right)[0]
    operator = node["opcode"]
    found = source.text.find(operator, start, end)
    if found >= 0:
        for other in OPERATORS.get(operator, ()):
            yield source.mutant(function, found, found + len(operator), other)


def _unary(source: _Source, function: str, node: Node) -> Iterator[CMutant]:
    start, end = _span(node)
    if node["opcode"] in ("!", "~"):
        yield source.mutant(function, start, start + 1, "")
    elif node["opcode"] in ("++", "--"):
        other = "--" if node["opcode"] == "++" else "++"
        at = end - 2 if node.get("isPostfix") else start
        yield source.mutant(function, at, at + 2, other)


def _number(source: _Source, function: str, node: Node) -> Iterator[CMutant]:
    start, end = _span(node)
    match = NUMBER.match(source.text[start:end])
    if match and not _is_macro(node):
        value = int(match[0], 0)
        for other in {value + 1, max(0, value - 1)} - {value}:
            yield source.mutant(function, start, start + match.end(), str(other))


def _statement(source: _Source, function: str, node: Node) -> Iterator[CMutant]:
    """A call or an assignment that stands for itself is left out."""
    kinds = {"CallExpr", "BinaryOperator", "CompoundAssignOperator", "UnaryOperator"}
    for inner in node.get("inner", ()):
        if inner.get("kind") in kinds:
            start, end = _span(inner)
            yield source.mutant(function, start, end, "(void)0")


def _condition(source: _Source, function: str, node: Node) -> Iterator[CMutant]:
    start, end = _span(node["inner"][CONDITIONS[node["kind"]]])
    for value in ("0", "1"):
        if node["kind"] != "WhileStmt" or value == "0":
            yield source.mutant(function, start, end, value)


def _of_node(source: _Source, function: str, node: Node) -> Iterator[CMutant]:
    kind = node.get("kind")
    if kind in ("BinaryOperator", "CompoundAssignOperator"):
        yield from _operators(source, function, node)
    elif kind == "UnaryOperator":
        yield from _unary(source, function, node)
    elif kind == "IntegerLiteral":
        yield from _number(source, function, node)
    elif kind == "CompoundStmt":
        yield from _statement(source, function, node)
    if kind in CONDITIONS:
        yield from _condition(source, function, node)
    for inner in node.get("inner", ()):
        yield from _of_node(source, function, inner)


def _tree(path: Path) -> Node:
    command = ["clang", "-std=c11", "-fsyntax-only", "-Xclang", "-ast-dump=json", str(path)]
    dumped = subprocess.run(command, capture_output=True, text=True, check=True)
    tree: Node = json.loads(dumped.stdout)
    return tree


def _own_functions(tree: Node) -> Iterator[Node]:
    """The functions whose bodies are in the file itself."""
    for node in tree["inner"]:
        has_body = any(inner.get("kind") == "CompoundStmt" for inner in node.get("inner", ()))
        if node.get("kind") == "FunctionDecl" and has_body and "includedFrom" not in node["loc"]:
            yield node


def c_mutants(path: Path) -> list[CMutant]:
    """Return every mutant of a source file, in the order of their places, each once."""
    source = _Source(path.name, path.read_text())
    found = [
        mutant for node in _own_functions(_tree(path)) for mutant in _of_node(source, node["name"], node)
    ]
    for constant in DEFINED.finditer(source.text):
        start, end = constant.span(2)
        value = int(constant[2])
        for other in {value + 1, max(0, value - 1)} - {value}:
            found.append(source.mutant(constant[1], start, end, str(other)))
    return sorted(set(found), key=lambda m: (m.start, m.end, m.after))
