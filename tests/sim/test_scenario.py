"""Scenarios, faults as text, parts within their tolerance, and the hands."""

from pathlib import Path

import pytest

from loomproof.facts.fault_kind import FaultKind
from loomproof.job.file.loading import load_job
from loomproof_sim.fault_text import FaultTextError, form_of, parse_fault
from loomproof_sim.hands.local import HandsError
from loomproof_sim.loom import Draw, load_spec
from loomproof_sim.plant.spec import Drive
from loomproof_sim.scenario import (
    Scenario,
    ScenarioError,
    build_box,
    build_loom,
    builtin_job,
    make_scenario,
    scenario_from_query,
)

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.toml"))
JOBS = [path for path in EXAMPLES if "[[channels]]" in path.read_text(encoding="utf-8")]

BOAT = Path(__file__).parents[2] / "examples" / "boat-four-wasted-spark.toml"


@pytest.mark.parametrize("path", JOBS, ids=lambda path: path.stem)
def test_every_example_job_has_a_loom(path: Path) -> None:
    box = build_box(Scenario(job=path, clock="virtual", spread=1.0, seed=3))
    assert box.plant.channels == tuple(range(1, 17))
    box.run_for(0.01)


def test_parts_stay_within_their_tolerance_and_sisters_are_alike() -> None:
    load = builtin_job().load_type(1)
    assert load.resistance_ohm is not None
    for seed in range(60):
        draw = Draw(seed, 1.0)
        sisters = [load_spec(load, draw).resistance_ohm for _ in range(6)]
        assert load.resistance_ohm.low <= min(sisters)
        assert max(sisters) <= load.resistance_ohm.high
        assert (
            max(sisters) - min(sisters)
            <= 0.5 * (load.resistance_ohm.high - load.resistance_ohm.low) / 2 + 1e-9
        )
    assert load_spec(load, Draw(1, 0.0)).resistance_ohm == load.resistance_ohm.value


@pytest.mark.parametrize("kind", FaultKind)
def test_every_kind_of_fault_can_be_written_and_changes_the_loom(kind: FaultKind) -> None:
    # The built-in job has no input, which alone has a ground of its own.
    job = load_job(BOAT) if kind is FaultKind.GROUND_OPEN else builtin_job()
    channel = {FaultKind.SUPPRESSION_MISSING: 4, FaultKind.SUPPRESSION_REVERSED: 4}.get(kind, 1)
    text = {
        FaultKind.FEED_OPEN: f"{kind}:F1",
        FaultKind.FEED_WEAK: f"{kind}:F1:0.4",
        FaultKind.WEAK_SUPPLY: f"{kind}:0.5",
        FaultKind.SWAPPED: f"{kind}:1:3",
        FaultKind.BRIDGED: f"{kind}:1:3",
        FaultKind.TWO_ON_ONE_WIRE: f"{kind}:1:3",
        FaultKind.GROUND_OPEN: f"{kind}:12",
        FaultKind.WRONG_LOAD: f"{kind}:1:relay_plain",
        FaultKind.WRONG_SET: f"{kind}:1:relay_plain",
        FaultKind.SHIFTED: f"{kind}:{job.connectors[0].id}",
    }.get(kind, f"{kind}:{channel}")
    sound = build_loom(job, Scenario())
    assert build_loom(job, Scenario(faults=(text,))) != sound
    assert form_of(kind).startswith(f"{kind}")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("opne:5", "there is no fault 'opne'"),
        ("open", "the channel is missing; write open:CHANNEL"),
        ("open:77", "the job has no channel '77'"),
        ("open:1:2", "'2' is one part too many"),
        ("swapped:1:1", "the two channels must differ"),
        ("added_resistance:1:much", "'much' is not a number"),
        ("added_resistance:1:-3", "-3 is not a possible amount"),
        ("feed_weak:F9", "the job has no feed 'F9' (it has F1)"),
        ("wrong_load:1:anvil", "neither the job nor the catalogue has a load 'anvil'"),
    ],
)
def test_a_fault_that_cannot_be_read_says_why(text: str, says: str) -> None:
    with pytest.raises(FaultTextError, match="fault") as caught:
        parse_fault(text, builtin_job())
    assert says in str(caught.value)


def test_a_fault_that_does_not_fit_its_load_says_why() -> None:
    with pytest.raises(ScenarioError, match="no suppression"):
        build_loom(builtin_job(), Scenario(faults=("suppression_missing:1",)))


def test_wrong_keys_are_all_named() -> None:
    with pytest.raises(ScenarioError) as caught:
        make_scenario({"sede": 1, "spread": 3})
    assert "sede" in str(caught.value)
    assert "spread" in str(caught.value)
    assert "known keys: job, seed" in str(caught.value)


def test_a_scenario_file_is_read_and_its_job_found_beside_it(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(JOBS[0].read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "bad_day.toml").write_text(
        'job = "job.toml"\nfaults = ["open:1"]\nseed = 4\n', encoding="utf-8"
    )
    scenario = scenario_from_query("", [("scenario", str(tmp_path / "bad_day.toml")), ("fault", "open:2")])
    assert (scenario.job, scenario.seed) == (tmp_path / "job.toml", 4)
    assert scenario.faults == ("open:1", "open:2")


def test_an_unreadable_job_says_so(tmp_path: Path) -> None:
    with pytest.raises(ScenarioError, match=r"nowhere\.toml"):
        build_box(Scenario(job=tmp_path / "nowhere.toml"))


def rest_v(box, channel: int) -> float:
    return box.plant.resting_drain_v(channel, box.now_s())


def test_hands_pull_and_seat_by_location_and_channel() -> None:
    box = build_box(Scenario(clock="virtual", spread=0))
    box.hands.pull("left_injector")
    assert rest_v(box, 1) == pytest.approx(2.5, abs=0.05)  # the bias: nothing hangs there
    assert rest_v(box, 2) == pytest.approx(13.5, abs=0.1)
    assert box.hands.pulled == (1,)
    box.hands.seat(1)
    assert rest_v(box, 1) == pytest.approx(13.5, abs=0.1)
    with pytest.raises(HandsError, match="left_injector, right_injector"):
        box.hands.pull("attic")
    with pytest.raises(HandsError, match="no channel 12"):
        box.hands.pull(12)


def test_hands_go_to_the_load_and_a_swap_shows() -> None:
    box = build_box(Scenario(clock="virtual", spread=0, faults=("swapped:1:2",)))
    box.hands.pull("left_injector")
    assert rest_v(box, 1) == pytest.approx(13.5, abs=0.1)
    assert rest_v(box, 2) == pytest.approx(2.5, abs=0.05)
    assert box.hands.pulled == (1,)


BENCH = Path(__file__).parents[2] / "examples" / "bench-relays-lamps-stepper.toml"


@pytest.mark.parametrize(
    ("faults", "turns"),
    [((), True), (("swapped:10:11",), False), (("swapped:11:13",), False), (("swapped:9:10",), False)],
)
def test_a_stepper_turns_only_when_its_windings_come_in_turn(faults: tuple[str, ...], turns: bool) -> None:
    box = build_box(Scenario(job=BENCH, clock="virtual", spread=0, faults=faults))
    for number, channel in enumerate((10, 11, 12, 13)):
        box.plant.switch(channel, Drive.ON, 0.01 + 0.03 * number)
        box.plant.switch(channel, Drive.OFF, 0.03 + 0.03 * number)
    box.run_for(0.2)
    assert box.hands.noticed(10, (10, 11, 12, 13)) is turns


def test_hands_switch_the_supply_and_press_the_stop() -> None:
    box = build_box(Scenario(clock="virtual"))
    box.hands.supply(False)
    assert not box.controller.machine.supply.good
    box.hands.supply(True)
    assert box.controller.machine.supply.good
    box.hands.stop_input(True)
    assert box.controller.latch.input_open


def test_an_injector_moves_or_is_stuck() -> None:
    for faults, moves in (((), True), (("stuck_armature:1",), False)):
        box = build_box(Scenario(clock="virtual", faults=faults))
        box.plant.switch(1, Drive.ON, 0.001)
        box.plant.switch(1, Drive.OFF, 0.008)
        box.run_for(0.02)
        assert box.hands.moved(1) is moves
