"""A motor between two half-bridges is one thing with two sides: one fault, one finding, whichever side it is at."""

import pytest

from benchmarks import fault_matrix as matrix
from loomproof.diagnose.explain.candidates import single_faults
from loomproof.facts.fault_kind import FaultKind
from loomproof_sim.plant.spec import MotorSpec, RelaySpec
from loomproof_sim.scenario import Scenario, build_loom

CLASS = "classroom-vee-six"


def test_a_fault_of_its_load_or_its_loop_has_both_sides_and_one_of_a_wire_has_one(bench):
    job = bench.jobs["classroom"]
    both = {f.kind: f.channels for f in single_faults(job, 14)}
    assert both[FaultKind.STUCK_ARMATURE] == both[FaultKind.OPEN] == both[FaultKind.WRONG_LOAD] == (13, 14)
    one_side = {FaultKind.SHORT_TO_GROUND, FaultKind.SHORT_TO_SUPPLY, FaultKind.LEAK_TO_GROUND}
    assert {kind for kind, channels in both.items() if channels == (14,)} == one_side
    assert {f.channels for f in single_faults(job, 1)} == {(1,)}


@pytest.mark.parametrize("side", [13, 14])
def test_another_load_on_either_side_is_another_load(bench, side):
    job = bench.jobs["classroom"]
    loom = build_loom(job, Scenario(faults=(f"wrong_load:{side}:relay_plain",)))
    assert isinstance(build_loom(job, Scenario()).branch(13).load, MotorSpec)
    assert isinstance(loom.branch(13).load, RelaySpec)
    assert loom.branch(14).load is None


@pytest.mark.parametrize("fault", ["stuck_armature:14", "open:14"])
def test_one_fault_at_its_second_side_is_one_finding(fault):
    case = next(case for case in matrix.cases(CLASS) if case.fault == fault)
    row = matrix.run(case)
    assert row.said == "named"
    assert row.accused == ()
    assert len(row.findings) == 1
    assert "@13,14" in row.findings[0]
