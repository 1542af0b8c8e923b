"""The errors: every one that can be put into a Python file, as a replacement of a stretch of its text.

Annotations, decorators, docstrings and f-strings stay as they are: what they say is not what the box or the
console does. `assert_never` stays, too: the type checker has shown that it is never run. Constants of tables and of
dataclass fields, properties and class bodies are changed like any other code.
"""

import ast
import re
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

COMPARISONS: Mapping[type[ast.cmpop], tuple[str, tuple[str, ...]]] = {
    ast.Lt: ("<", ("<=", ">=")),
    ast.LtE: ("<=", ("<", ">")),
    ast.Gt: (">", (">=", "<=")),
    ast.GtE: (">=", (">", "<")),
    ast.Eq: ("==", ("!=",)),
    ast.NotEq: ("!=", ("==",)),
    ast.Is: ("is", ("is not",)),
    ast.IsNot: ("is not", ("is",)),
    ast.In: ("in", ("not in",)),
    ast.NotIn: ("not in", ("in",)),
}
"""Each with its text, and the texts it is replaced by: the boundary first, then the opposite."""
ARITHMETIC: Mapping[type[ast.operator], tuple[str, str]] = {
    ast.Add: ("+", "-"),
    ast.Sub: ("-", "+"),
    ast.Mult: ("*", "/"),
    ast.Div: ("/", "*"),
    ast.FloorDiv: ("//", "*"),
    ast.Mod: ("%", "*"),
    ast.Pow: ("**", "*"),
    ast.LShift: ("<<", ">>"),
    ast.RShift: (">>", "<<"),
    ast.BitAnd: ("&", "|"),
    ast.BitOr: ("|", "&"),
}
CALLS = {"min": "max", "max": "min", "ceil": "floor", "floor": "ceil", "any": "all", "all": "any"}

Enums = Mapping[str, tuple[tuple[str, ...], ...]]
"""Name of an enumeration to its members; more than one where two enumerations have the same name."""


@dataclass(frozen=True, order=True)
class Mutant:
    """One error.

    Attributes:
        path: of the file, from the root of the tree.
        start: where the replaced text begins, in bytes.
        end: where it ends.
        text: what is put there.
        where: the class and function around it.
        line: number of the line where it begins.
        before: the lines, on one line and without indentation.
        after: the same lines with the error.
    """

    path: str
    start: int
    end: int
    text: str
    where: str
    line: int
    before: str
    after: str

    def __str__(self) -> str:
        """As printed for one that survives."""
        return f"{self.path}:{self.line} in {self.where}\n    - {self.before}\n    + {self.after}"

    @property
    def key(self) -> tuple[str, str, str, str]:
        """What names it even when lines above it come and go."""
        return self.path, self.where, self.before, self.after

    def apply(self, source: bytes) -> bytes:
        """The source with the error in it."""
        return source[: self.start] + self.text.encode() + source[self.end :]


def enums_of(paths: list[Path]) -> Enums:
    """The members of every enumeration that is declared in these files."""
    found: dict[str, tuple[tuple[str, ...], ...]] = {}
    for path in paths:
        source = path.read_bytes()
        if not re.search(rb"class .*(Enum|Flag)\b", source):
            continue
        for node in ast.walk(ast.parse(source)):
            if isinstance(node, ast.ClassDef) and any(_is_enum(base) for base in node.bases):
                assigned = [item for item in node.body if isinstance(item, ast.Assign)]
                names = tuple(
                    item.targets[0].id for item in assigned if isinstance(item.targets[0], ast.Name)
                )
                found[node.name] = (*found.get(node.name, ()), names)
    return found


def _is_enum(base: ast.expr) -> bool:
    return isinstance(base, ast.Name) and base.id.endswith(("Enum", "Flag"))


def mutants_of(path: str, source: bytes, enums: Enums) -> list[Mutant]:
    """Every error that can be put into a file, in order of place.

    Args:
        path: of the file, from the root of the tree.
        source: its bytes.
        enums: enumerations whose members may be exchanged.
    """
    finder = _Finder(path, source, enums)
    finder.visit(ast.parse(source))
    return sorted(set(finder.found))


class _Finder(ast.NodeVisitor):
    """Walks a file and collects its mutants."""

    def __init__(self, path: str, source: bytes, enums: Enums) -> None:
        self._path = path
        self._source = source
        self._enums = enums
        self._lines = [0]
        for line in source.splitlines(keepends=True):
            self._lines.append(self._lines[-1] + len(line))
        self._where: list[str] = []
        self.found: list[Mutant] = []

    # -- places -------------------------------------------------------------------------------------

    def _start(self, node: ast.expr | ast.stmt) -> int:
        return self._lines[node.lineno - 1] + node.col_offset

    def _end(self, node: ast.expr | ast.stmt) -> int:
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        return self._lines[node.end_lineno - 1] + node.end_col_offset

    def _text(self, node: ast.expr | ast.stmt) -> str:
        return self._source[self._start(node) : self._end(node)].decode()

    def _add(self, start: int, end: int, text: str) -> None:
        number = bisect_right(self._lines, start)
        first = self._lines[number - 1]
        last = self._source.find(b"\n", end)
        last = len(self._source) if last < 0 else last
        before = self._source[first:last].decode()
        after = self._source[first:start].decode() + text + self._source[end:last].decode()
        where = ".".join(self._where) or "<module>"
        lines = " ".join(before.split()), " ".join(after.split())
        self.found.append(Mutant(self._path, start, end, text, where, number, *lines))

    def _replace(self, node: ast.expr | ast.stmt, text: str) -> None:
        self._add(self._start(node), self._end(node), text)

    def _between(self, left: ast.expr, right: ast.expr, old: str, new: str) -> None:
        start = self._source.find(old.encode(), self._end(left), self._start(right))
        if start >= 0:
            self._add(start, start + len(old), new)

    # -- what is left alone -------------------------------------------------------------------------

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        del node  # words for people

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value is not None:
            self.visit(node.value)

    def _visit_scope(self, node: ast.FunctionDef | ast.ClassDef) -> None:
        self._where.append(node.name)
        if isinstance(node, ast.FunctionDef):
            for default in (*node.args.defaults, *node.args.kw_defaults):
                if default is not None:
                    self.visit(default)
        for statement in node.body:
            self.visit(statement)
        self._where.pop()

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        self._visit_scope(node)

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        self._visit_scope(node)

    # -- errors -------------------------------------------------------------------------------------

    def visit_Compare(self, node: ast.Compare) -> None:
        for left, operator, right in zip(
            (node.left, *node.comparators), node.ops, node.comparators, strict=False
        ):
            old, others = COMPARISONS[type(operator)]
            for new in others:
                self._between(left, right, old, new)
        self.generic_visit(node)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        swap = ARITHMETIC.get(type(node.op))
        if swap is not None and not _is_text(node.left) and not _is_text(node.right):
            self._between(node.left, node.right, *swap)
        self.generic_visit(node)

    def visit_AugAssign(self, node: ast.AugAssign) -> None:
        swap = ARITHMETIC.get(type(node.op))
        if swap is not None and not _is_text(node.value):
            self._between(node.target, node.value, f"{swap[0]}=", f"{swap[1]}=")
        self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        old, new = ("and", "or") if isinstance(node.op, ast.And) else ("or", "and")
        for left, right in pairwise(node.values):
            self._between(left, right, old, new)
        self.generic_visit(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        if isinstance(node.op, ast.Not | ast.USub):
            self._replace(node, f"({self._text(node.operand)})")
        self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> None:
        value = node.value
        if isinstance(value, bool):
            self._replace(node, str(not value))
        elif isinstance(value, int):
            self._replace(node, str(value + 1))
            self._replace(node, f"({value - 1})")
        elif isinstance(value, float):
            for other in (value * 1.1, value * 0.9) if value else (1.0,):
                self._replace(node, repr(other))

    def visit_Attribute(self, node: ast.Attribute) -> None:
        owner = node.value
        name = (
            owner.id
            if isinstance(owner, ast.Name)
            else owner.attr
            if isinstance(owner, ast.Attribute)
            else ""
        )
        for members in self._enums.get(name, ()):
            if node.attr in members and len(members) > 1:
                other = members[(members.index(node.attr) + 1) % len(members)]
                self._add(self._end(node) - len(node.attr), self._end(node), other)
        self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> None:
        function = node.func
        name = function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")
        if name in CALLS:
            self._add(self._end(function) - len(name), self._end(function), CALLS[name])
        named = [keyword for keyword in node.keywords if keyword.arg is not None]
        for one, two in pairwise(named):
            start, end = self._start(one.value), self._end(two.value)
            gap = self._source[self._end(one.value) : self._start(two.value)].decode()
            if self._text(one.value) != self._text(two.value):
                self._add(start, end, self._text(two.value) + gap + self._text(one.value))
        self.generic_visit(node)

    def visit_Return(self, node: ast.Return) -> None:
        plain = isinstance(node.value, ast.Constant) and node.value.value in (None, True, False)
        if node.value is not None and not plain:
            self._replace(node, "return None")
        self.generic_visit(node)

    def visit_Expr(self, node: ast.Expr) -> None:
        if _is_unreachable(node.value):
            return
        if isinstance(node.value, ast.Call | ast.Yield):
            self._replace(node, "pass")
        self.generic_visit(node)

    def visit_Raise(self, node: ast.Raise) -> None:
        self._replace(node, "pass")
        self.generic_visit(node)

    def _visit_test(self, node: ast.If | ast.IfExp | ast.While) -> None:
        if not isinstance(node.test, ast.Compare | ast.UnaryOp):
            self._replace(node.test, f"(not ({self._text(node.test)}))")
        self.generic_visit(node)

    def visit_If(self, node: ast.If) -> None:
        self._visit_test(node)

    def visit_IfExp(self, node: ast.IfExp) -> None:
        self._visit_test(node)

    def visit_While(self, node: ast.While) -> None:
        self._visit_test(node)


def _is_unreachable(node: ast.expr) -> bool:
    """Whether the type checker has shown that this is never run (`typing.assert_never`)."""
    return isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "assert_never"


def _is_text(node: ast.expr) -> bool:
    return isinstance(node, ast.JoinedStr) or (isinstance(node, ast.Constant) and isinstance(node.value, str))
