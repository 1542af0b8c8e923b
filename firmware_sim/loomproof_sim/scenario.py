"""A scenario: which loom hangs on the simulated box, how sound its parts are, and what is wrong with it."""

import tomllib
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from loomproof.job.file.loading import JobError, load_job, parse_job
from loomproof.job.model import Job
from loomproof_sim.box import SimBox
from loomproof_sim.clocks import RealClock, VirtualClock
from loomproof_sim.controller.controller import Controller
from loomproof_sim.fault_text import FaultTextError, parse_fault, put_fault
from loomproof_sim.hands.local import SimHands, connector_map
from loomproof_sim.loom import Draw, channel_kinds, sound_loom
from loomproof_sim.plant.plant import Plant
from loomproof_sim.plant.spec import LoomSpec, SupplySpec
from loomproof_sim.profiles import PROFILES, BoardProfile


class ScenarioError(ValueError):
    """A scenario that cannot be set up; the message says where, why and what to write instead."""


class Scenario(BaseModel):
    """How to set up a simulated box; a TOML file may hold these keys.

    Attributes:
        job: path of a job file; None = the small built-in job.
        seed: draws parts, read-back errors and noise; the same seed gives the same box.
        faults: texts such as `open:5` (see `loomproof_sim.fault_text`).
        spread: how much of each part's tolerance is used, 0 to 1.
        supply_v: electromotive force of the supply.
        supply_ohm: internal resistance of the supply.
        temperature_c: temperature of loom and loads; None = the job's ambient temperature.
        profile: the board.
        clock: `real`, or `virtual` for tests.
        driver_stuck_on: channel whose driver conducts whatever it is told: a fault of the box itself.
        current_path_dead: channel whose current the box cannot read: a fault of the box itself.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    job: Path | None = None
    seed: Annotated[int, Field(ge=0, lt=2**32)] = 0
    faults: tuple[str, ...] = ()
    spread: Annotated[float, Field(ge=0, le=1)] = 0.6
    supply_v: Annotated[float, Field(ge=0, le=60)] = 13.5
    supply_ohm: Annotated[float, Field(gt=0, le=10)] = 0.03
    temperature_c: Annotated[float, Field(ge=-40, le=150)] | None = None
    profile: Literal["reference", "twelve_bit"] = "reference"
    clock: Literal["real", "virtual"] = "real"
    driver_stuck_on: Annotated[int, Field(ge=1, le=16)] | None = None
    current_path_dead: Annotated[int, Field(ge=1, le=16)] | None = None

    @property
    def board(self) -> BoardProfile:
        """The board profile."""
        return PROFILES[self.profile]


def builtin_job() -> Job:
    """Return the small job of a box that was given none."""
    return parse_job(files("loomproof_sim").joinpath("builtin_job.toml").read_text(encoding="utf-8"))


def job_of(scenario: Scenario) -> Job:
    """Return the job of a scenario.

    Raises:
        ScenarioError: the file cannot be read, or its job is not sound.
    """
    if scenario.job is None:
        return builtin_job()
    try:
        return load_job(scenario.job)
    except JobError as error:
        raise ScenarioError(f"job {scenario.job}: {error}") from error
    except OSError as error:
        raise ScenarioError(f"job {scenario.job}: {error.strerror}; give the path of a job file") from error


def build_loom(job: Job, scenario: Scenario) -> LoomSpec:
    """Return the loom behind the pins, faults included.

    Raises:
        ScenarioError: a fault cannot be read or does not fit the job.
    """
    draw = Draw(scenario.seed, scenario.spread)
    temperature_c = job.ambient_c if scenario.temperature_c is None else scenario.temperature_c
    supply = SupplySpec(scenario.supply_v, scenario.supply_ohm)
    loom = sound_loom(job, draw, scenario.board, supply, temperature_c)
    for text in scenario.faults:
        try:
            loom = put_fault(loom, parse_fault(text, job), job, draw)
        except FaultTextError as error:
            raise ScenarioError(str(error)) from error
        except (ValueError, KeyError, TypeError) as error:
            raise ScenarioError(f"fault {text!r} does not fit this loom: {error}") from error
    return loom


def build_box(scenario: Scenario, job: Job | None = None) -> SimBox:
    """Return a powered box with its loom.

    Args:
        scenario: how to set it up.
        job: replaces the scenario's job file.

    Raises:
        ScenarioError: the job or a fault is wrong.
    """
    job = job_of(scenario) if job is None else job
    plant = Plant(build_loom(job, scenario), seed=scenario.seed)
    controller = Controller(
        plant,
        scenario.board,
        kinds=channel_kinds(job),
        seed=scenario.seed,
        serial_number=f"SIM-{scenario.seed:08d}",
    )
    if scenario.driver_stuck_on is not None:
        controller.stick_driver(scenario.driver_stuck_on)
    if scenario.current_path_dead is not None:
        controller.deaden_current(scenario.current_path_dead)
    box = SimBox(controller, VirtualClock() if scenario.clock == "virtual" else RealClock())
    faults = [parse_fault(text, job) for text in scenario.faults]
    box.hands = SimHands(box, plant, job, connector_map(job, faults))
    box.plant = plant
    return box


def load_scenario(path: Path) -> dict[str, Any]:
    """Return the keys of a scenario file; a relative job path starts at the file's folder.

    Raises:
        ScenarioError: the file cannot be read, or is not TOML.
    """
    try:
        keys = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise ScenarioError(f"scenario {path}: {error.strerror}; give the path of a scenario file") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ScenarioError(f"scenario {path}: {error}") from error
    if isinstance(keys.get("job"), str):
        keys["job"] = str(path.parent / keys["job"])
    return keys


def scenario_from_query(path: str, query: Sequence[tuple[str, str]]) -> Scenario:
    """Return the scenario of a `sim://` URL.

    Args:
        path: path of the job file; empty = the scenario file's job, or the built-in one.
        query: keys and values in order; `fault` may repeat, the other keys override a `scenario` file's.

    Raises:
        ScenarioError: a key is unknown, a value is wrong, or a file cannot be read.
    """
    keys: dict[str, Any] = {}
    faults: list[str] = []
    for key, value in query:
        if key == "scenario":
            keys = load_scenario(Path(value)) | keys
        elif key == "fault":
            faults.append(value)
        elif key in keys and key != "job":
            raise ScenarioError(f"{key} is given twice")
        else:
            keys[key] = value
    if path:
        keys["job"] = path
    if faults:
        keys["faults"] = [*keys.get("faults", ()), *faults]
    return make_scenario(keys)


def make_scenario(keys: dict[str, Any]) -> Scenario:
    """Return a checked scenario.

    Raises:
        ScenarioError: keys are wrong; the message names each of them.
    """
    try:
        return Scenario.model_validate(keys)
    except ValidationError as error:
        known = ", ".join(name for name in Scenario.model_fields)
        problems = "; ".join(
            f"{'.'.join(map(str, one['loc']))}: {one['msg']}"
            + (f" (known keys: {known})" if one["type"] == "extra_forbidden" else "")
            for one in error.errors()
        )
        raise ScenarioError(problems) from error
