"""Which fields of the job's models a source reads, by following types through its syntax tree.

An expression's type comes from parameters' hints, from the models' own fields, methods and properties, and from what
`job` is called everywhere. What cannot be followed counts as not read: the walk errs on the strict side.
"""

import ast
import inspect
import textwrap
import types
from collections.abc import Iterable, Iterator
from typing import Annotated, Any, get_args, get_origin, get_type_hints

from pydantic import BaseModel

Models = frozenset[type[BaseModel]]
Field = tuple[type[BaseModel], str]
NOTHING: Models = frozenset()
PASSED_ON = frozenset({"sorted", "tuple", "list", "set", "next", "enumerate", "reversed", "min", "max"})


def models_within(hint: Any) -> Models:
    """Return the models that a type hint names: itself, its alternatives, or what a collection of it holds."""
    if isinstance(hint, type) and issubclass(hint, BaseModel):
        return frozenset({hint})
    if get_origin(hint) is Annotated:
        return models_within(get_args(hint)[0])
    return NOTHING.union(*(models_within(part) for part in get_args(hint)))


def models_of(root: type[BaseModel]) -> Models:
    """Return every model that `root` consists of, itself too."""
    found: set[type[BaseModel]] = set()
    todo = [root]
    while todo:
        model = todo.pop()
        if model not in found:
            found.add(model)
            todo += [
                inner for field in model.model_fields.values() for inner in models_within(field.annotation)
            ]
    return frozenset(found)


def function_of(model: type[BaseModel], name: str) -> types.FunctionType | None:
    """Return a method, or the function behind a property, that a model of ours declares itself."""
    member = model.__dict__.get(name)
    if isinstance(member, property):
        member = member.fget
    return member if isinstance(member, types.FunctionType) else None


class Walk(ast.NodeVisitor):
    """Collects the fields read in one source, and the methods and properties it calls."""

    def __init__(self, root: type[BaseModel], known: dict[str, Models]) -> None:
        self.root = root
        self.models = {model.__name__: model for model in models_of(root)}
        self.used: set[Field] = set()
        self._attributes: dict[str, Models] = {}
        self._names = dict(known)

    def walk(self, tree: ast.AST) -> set[Field]:
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef) and (found := self._hinted(node.returns)):
                self._attributes[node.name] = self._names[node.name] = found
            if isinstance(node, ast.ClassDef):
                for line in node.body:
                    if isinstance(line, ast.AnnAssign) and isinstance(line.target, ast.Name):
                        self._attributes[line.target.id] = self._hinted(line.annotation)
        self.visit(tree)
        return self.used

    def _of(self, node: ast.AST | None) -> Models:
        """Return the models that an expression is, or holds."""
        match node:
            case ast.Name(id=name):
                return self._names.get(name, frozenset({self.root}) if name == "job" else NOTHING)
            case ast.Attribute(value=value, attr=attr):
                owners = self._of(value)
                if owners:
                    return NOTHING.union(*(self._member(owner, attr) for owner in owners))
                is_job = attr.lstrip("_") == "job"
                return frozenset({self.root}) if is_job else self._attributes.get(attr, NOTHING)
            case ast.Call(func=ast.Name(id=name), args=args) if name in PASSED_ON:
                return NOTHING.union(*(self._of(arg) for arg in args))
            case ast.Call(func=func):
                return self._of(func)
            case ast.GeneratorExp() | ast.ListComp() | ast.SetComp() | ast.DictComp():
                for generator in node.generators:
                    self._bind(generator.target, self._of(generator.iter))
                return self._of(node.value if isinstance(node, ast.DictComp) else node.elt)
            case ast.Subscript(value=value) | ast.Starred(value=value) | ast.NamedExpr(value=value):
                return self._of(value)
            case ast.IfExp(body=body, orelse=other):
                return self._of(body) | self._of(other)
            case ast.BoolOp(values=parts) | ast.Tuple(elts=parts):
                return NOTHING.union(*(self._of(part) for part in parts))
        return NOTHING

    def _member(self, owner: type[BaseModel], name: str) -> Models:
        if name in owner.model_fields:
            return models_within(owner.model_fields[name].annotation)
        function = function_of(owner, name)
        return models_within(get_type_hints(function).get("return")) if function is not None else NOTHING

    def _hinted(self, hint: ast.AST | None) -> Models:
        words = (
            {node.id for node in ast.walk(hint) if isinstance(node, ast.Name)} if hint is not None else set()
        )
        return frozenset(self.models[word] for word in words if word in self.models)

    def _bind(self, target: ast.AST, found: Models) -> None:
        for node in ast.walk(target):
            if isinstance(node, ast.Name):
                self._names[node.id] = found
            elif isinstance(node, ast.Attribute) and found:
                self._attributes[node.attr] = found

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        outer = dict(self._names)
        for arg in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs):
            if arg.annotation is not None:
                self._names[arg.arg] = self._hinted(arg.annotation)
        self.generic_visit(node)
        self._names = outer

    def visit_Assign(self, node: ast.Assign) -> None:
        self.generic_visit(node)
        for target in node.targets:
            if isinstance(target, ast.Tuple) and isinstance(node.value, ast.Tuple):
                for one, value in zip(target.elts, node.value.elts, strict=True):
                    self._bind(one, self._of(value))
            else:
                self._bind(target, self._of(node.value))

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        self.generic_visit(node)
        self._bind(node.target, self._hinted(node.annotation))

    def visit_NamedExpr(self, node: ast.NamedExpr) -> None:
        self.generic_visit(node)
        self._bind(node.target, self._of(node.value))

    def visit_For(self, node: ast.For) -> None:
        self._bind(node.target, self._of(node.iter))
        self.generic_visit(node)

    def _visit_comprehension(
        self, node: ast.GeneratorExp | ast.ListComp | ast.SetComp | ast.DictComp
    ) -> None:
        self._of(node)
        self.generic_visit(node)

    visit_GeneratorExp = visit_ListComp = visit_SetComp = visit_DictComp = _visit_comprehension  # noqa: N815 - names of ast

    def visit_Attribute(self, node: ast.Attribute) -> None:
        self.used |= {(owner, node.attr) for owner in self._of(node.value)}
        self.generic_visit(node)


def fields_read(root: type[BaseModel], sources: Iterable[str], known: dict[str, Models]) -> set[Field]:
    """Return the fields of `root` and of its parts that sources read, straight or through a model's own method.

    Args:
        root: the model that everything hangs on.
        sources: Python texts.
        known: what names mean that are imported as values.
    """
    used: set[Field] = set()
    for source in sources:
        used |= Walk(root, known).walk(ast.parse(source))
    seen: set[Field] = set()
    while todo := used - seen:
        seen |= todo
        for text, owner in _methods(todo):
            used |= Walk(root, {**known, "self": frozenset({owner})}).walk(ast.parse(text))
    return {(model, name) for model, name in used if name in model.model_fields}


def _methods(members: Iterable[Field]) -> Iterator[tuple[str, type[BaseModel]]]:
    for model, name in members:
        function = function_of(model, name)
        if function is not None:
            yield textwrap.dedent(inspect.getsource(function)), model
