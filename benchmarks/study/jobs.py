"""Random jobs: six to sixteen channels of the catalogue in the shapes that looms have."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from loomproof.facts.kinds import JobSetting
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.model import Channel, Connector, Feed, Job, LoadOverride, Location, LoomIdentity

RELAYS = ("relay_plain", "relay_diode", "relay_resistor", "fuel_pump_relay", "fan_relay", "starter_relay")
VALVES = ("valve_purge", "valve_boost", "valve_cam_oil", "valve_idle")
LAMPS = ("lamp_21w", "lamp_5w", "lamp_1w2")
MOTORS = ("motor_fan",)
SECTIONS_MM2 = (0.35, 0.5, 0.75, 1.0)
KNOWN_PERCENT = 5.0
"""Tolerance of a part that the job knows better than the catalogue."""


def _pick(rng: np.random.Generator, words: Sequence[str], count: int) -> list[str]:
    return [str(rng.choice(words)) for _ in range(count)]


def _engine(rng: np.random.Generator) -> list[str]:
    cylinders = int(rng.integers(3, 7))
    injector = str(rng.choice(["injector_high", "injector_high", "injector_low"]))
    coil = str(rng.choice(["coil_bare", "coil_igniter"]))
    rest = int(rng.integers(0, 17 - 2 * cylinders))
    return [injector] * cylinders + [coil] * cylinders + _pick(rng, RELAYS + VALVES, rest)


def _wasted_spark(rng: np.random.Generator) -> list[str]:
    pairs = int(rng.integers(2, 5))
    injector = str(rng.choice(["injector_high", "injector_low"]))
    rest = int(rng.integers(1, 17 - 3 * pairs))
    return [injector] * 2 * pairs + ["coil_bare"] * pairs + _pick(rng, RELAYS + VALVES + LAMPS, rest)


def _bench(rng: np.random.Generator) -> list[str]:
    words = _pick(rng, RELAYS, int(rng.integers(2, 6))) + _pick(rng, LAMPS, int(rng.integers(1, 5)))
    return (
        words + ["stepper_idle"] * 4 * int(rng.integers(0, 2)) + _pick(rng, ("tacho_input", "logic_input"), 2)
    )


def _actuators(rng: np.random.Generator) -> list[str]:
    same = [str(rng.choice(VALVES))] * int(rng.integers(2, 5))
    others = _pick(rng, VALVES + RELAYS, int(rng.integers(3, 7)))
    return same + others + _pick(rng, MOTORS, int(rng.integers(0, 2)))


def _injectors(rng: np.random.Generator) -> list[str]:
    one = [str(rng.choice(["injector_high", "injector_low"]))] * int(rng.integers(4, 9))
    return one + _pick(rng, RELAYS + VALVES + LAMPS, int(rng.integers(2, 7)))


SHAPES: tuple[Callable[[np.random.Generator], list[str]], ...] = (
    _engine,
    _wasted_spark,
    _bench,
    _actuators,
    _injectors,
)


def random_job(rng: np.random.Generator) -> Job:
    """One invented job."""
    loads = SHAPES[int(rng.integers(len(SHAPES)))](rng)[:16]
    while len(loads) < 6:
        loads.append(str(rng.choice(RELAYS)))
    rng.shuffle(loads)
    feeds = [f"F{k}" for k in range(1, int(rng.integers(1, 5)) + 1)]
    known = {key: _override(rng, key) for key in sorted(set(loads)) if rng.random() < 0.4}
    channels = tuple(
        Channel(
            channel=k,
            name=f"load {k}",
            cavity=f"H1-{k}",
            load=key,
            location=f"P{k}",
            feed=str(rng.choice(feeds)),
            section_mm2=float(rng.choice(SECTIONS_MM2)),
            length_m=round(float(rng.uniform(0.4, 5.0)), 2),
            fuel_pump=CATALOGUE[key].fuel_pump,
            override=known.get(key),
        )
        for k, key in enumerate(loads, start=1)
    )
    return Job(
        identity=LoomIdentity(title="random loom", job_number="STUDY"),
        setting=JobSetting(str(rng.choice(["bench", "vehicle", "classroom"]))),
        ambient_c=round(float(rng.uniform(0.0, 35.0)), 1),
        connectors=(Connector(id="H1", name="header", cavities=24),),
        feeds=tuple(
            Feed(id=f, name=f"feed {f}", length_m=round(float(rng.uniform(0.5, 4.0)), 2)) for f in feeds
        ),
        locations=tuple(Location(id=f"P{k}", name=f"place {k}") for k in range(1, len(loads) + 1)),
        channels=channels,
    )


def _override(rng: np.random.Generator, key: str) -> LoadOverride | None:
    """A job that knows its part's resistance within 5 %."""
    ohm = CATALOGUE[key].resistance_ohm
    if ohm is None or ohm.tolerance_percent <= KNOWN_PERCENT:
        return None
    room = (ohm.tolerance_percent - KNOWN_PERCENT) / 100.0
    value = round(ohm.value * (1.0 + room * float(rng.uniform(-1, 1))), 3)
    update = {"value": value, "tolerance_percent": KNOWN_PERCENT, "source": "label"}
    return LoadOverride(resistance_ohm=ohm.model_copy(update=update))
