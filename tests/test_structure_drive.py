"""Nothing is driven that safety has not approved: seen in the source tree, and tried at run time."""

import ast
from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.box.client import Box
from loomproof.facts.approved_drive import ApprovedDrive
from loomproof.facts.drive import PulseTrain, TrainRequest
from testbed.approve_without_asking import approve_without_asking

CONSOLE = Path(__file__).parents[1] / "console" / "loomproof"
MAKER = "_make_approved_drive"
HOME, ONLY_USER = "facts/approved_drive.py", "safety/approve.py"
REQUEST = TrainRequest(channel=1, train=PulseTrain(count=1, period_us=200_000, on_time_us=2000))


def names_in(tree):
    """Every name and attribute a module uses, and every name it imports."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Name):
            yield node.id
        elif isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield node.name
        elif isinstance(node, ast.Attribute):
            yield node.attr
        elif isinstance(node, ast.alias):
            yield node.name.rpartition(".")[2]
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value.isidentifier():
            yield node.value  # getattr by name


def using(wanted):
    found = set()
    for path in CONSOLE.rglob("*.py"):
        if wanted in set(names_in(ast.parse(path.read_text(encoding="utf-8")))):
            found.add(path.relative_to(CONSOLE).as_posix())
    return found


def calling(wanted):
    found = set()
    for path in CONSOLE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Call)
                and getattr(node.func, "id", getattr(node.func, "attr", "")) == wanted
            ):
                found.add(path.relative_to(CONSOLE).as_posix())
    return found


def test_only_the_approving_function_makes_an_approved_drive():
    assert using(MAKER) == {HOME, ONLY_USER}
    assert using("_SEAL") == {HOME}
    assert calling("ApprovedDrive") == {HOME}


def test_no_product_module_approves_without_asking():
    assert not using("testbed")
    assert not using("approve_without_asking")


def test_the_approving_function_has_one_call_of_the_maker():
    tree = ast.parse((CONSOLE / ONLY_USER).read_text(encoding="utf-8"))
    callers = [
        function.name
        for function in ast.walk(tree)
        if isinstance(function, ast.FunctionDef)
        for node in ast.walk(function)
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == MAKER
    ]
    assert callers == ["approve"]


def test_an_approved_drive_cannot_be_made_or_changed_by_hand():
    parts = {"request": REQUEST, "hazards": (), "arm_s": 1.0, "permitted_until_s": 9.0, "effects": ()}
    with pytest.raises(TypeError):
        ApprovedDrive(**parts)
    with pytest.raises(TypeError, match=r"only loomproof\.safety\.approve"):
        ApprovedDrive(**parts, seal=object())
    approved = approve_without_asking(REQUEST)
    longer = replace(REQUEST, train=PulseTrain(count=2000, period_us=200_000, on_time_us=100_000))
    with pytest.raises((TypeError, ValueError)):
        replace(approved, request=longer)
    with pytest.raises(AttributeError):
        approved.request = longer


def test_the_box_client_drives_by_nothing_else():
    """Whatever of it makes the box drive takes an approved drive; a request alone is refused."""
    public = {name for name in dir(Box) if not name.startswith("_")}
    assert {name for name in public if "drive" in name} == {"drive"}
    takes_approved = {
        function.name
        for function in ast.walk(ast.parse((CONSOLE / "box/client.py").read_text(encoding="utf-8")))
        if isinstance(function, ast.FunctionDef)
        and any("ApprovedDrive" in ast.unparse(a.annotation) for a in function.args.args if a.annotation)
    }
    assert takes_approved == {"drive", "watch_held"}


def test_a_count_and_an_on_time_cannot_change_places():
    with pytest.raises(TypeError):
        PulseTrain(3, 200_000, 2000)
    with pytest.raises(TypeError):
        TrainRequest(1, PulseTrain(count=1, period_us=200_000, on_time_us=2000))
