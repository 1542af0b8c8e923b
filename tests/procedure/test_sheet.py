from pathlib import Path

import pytest

from loomproof.facts.drive import StepperRequest
from loomproof.facts.kinds import HazardClass
from loomproof.facts.step import StepKind
from loomproof.job.file.loading import load_job
from loomproof.procedure.sheet import build_sheet
from loomproof.safety.order import Phase
from loomproof.safety.statements import StatementKind, statements_for

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.toml"))


@pytest.fixture(params=EXAMPLES, ids=lambda path: path.stem)
def example(request):
    return load_job(request.param)


def test_the_order_is_look_walk_drives_summary(example):
    sheet = build_sheet(example)
    phases = [step.phase for step in sheet.steps]
    assert phases == sorted(phases)
    assert sheet.steps[0].kind is StepKind.PASSIVE_LOOK
    assert sheet.steps[-1].kind is StepKind.SUMMARY
    assert len({step.id for step in sheet.steps}) == len(sheet.steps)
    assert build_sheet(example) == sheet


def test_every_fitted_channel_is_pulled_and_driven_once(example):
    sheet = build_sheet(example)
    fitted = sorted(c.channel for c in example.channels if c.fitted)
    pulled = [c for step in sheet.steps if step.kind is StepKind.PULL_CHECK for c in step.channels]
    assert sorted(pulled) == fitted
    flexed = [c for step in sheet.steps if step.kind is StepKind.WIGGLE for c in step.channels]
    assert sorted(flexed) == fitted
    driven = [
        c
        for step in sheet.steps
        if step.kind is StepKind.DRIVE and not isinstance(step.drive, StepperRequest)
        for c in step.channels
    ]
    assert sorted(driven) == fitted


def test_statements_stand_before_the_first_drive_that_needs_them(example):
    stated = set()
    for step in build_sheet(example).steps:
        if step.kind is StepKind.STATEMENT:
            assert step.statement not in stated
            stated.add(step.statement)
        elif step.kind is StepKind.DRIVE:
            for channel in step.channels:
                load = example.load_type(channel)
                assert set(statements_for(load, fuel_pump=example.channel(channel).fuel_pump)) <= stated


def test_drives_of_a_hazard_carry_its_cautions(example):
    for step in build_sheet(example).steps:
        if step.kind is StepKind.DRIVE and step.hazard is not HazardClass.NONE:
            assert step.cautions


def test_spark_before_fuel_and_the_pump_last(job):
    steps = build_sheet(job).steps
    order = [step.id for step in steps if step.phase >= Phase.HARMLESS]
    assert order == [
        "drive-3",
        "state-spark-clear",
        "drive-2",
        "state-fuel-isolated",
        "drive-1",
        "state-motion-clear",
        "state-pump-unplugged",
        "drive-4",
        "summary",
    ]
    assert steps[-2].statement is None


def test_a_stepper_is_stepped_after_its_windings_and_a_bridge_is_one_step():
    bench = load_job(next(path for path in EXAMPLES if "stepper" in path.stem))
    ids = [step.id for step in build_sheet(bench).steps]
    assert ids.index("step-10") == ids.index("drive-13") + 1
    classroom = load_job(next(path for path in EXAMPLES if "classroom" in path.stem))
    sheet = build_sheet(classroom)
    assert sheet.step("drive-13").channels == (13, 14)
    assert "drive-14" not in [step.id for step in sheet.steps]


def test_an_unknown_step_is_an_error(job):
    with pytest.raises(KeyError):
        build_sheet(job).step("nothing")


def test_the_pump_defaults_to_a_click(job):
    step = build_sheet(job).step("drive-4")
    assert step.drive.train.on_time_us <= 100_000
    assert step.drive.train.count <= 3
    assert StatementKind.PUMP_UNPLUGGED in {s.statement for s in build_sheet(job).steps}
