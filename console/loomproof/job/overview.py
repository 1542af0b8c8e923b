"""What a job says beside its channels, as text: its engine, loads, feeds and places. `loomproof check` prints it."""

from collections.abc import Iterator
from dataclasses import dataclass

from loomproof.job.engine import Engine
from loomproof.job.load_type import LoadType
from loomproof.job.model import Feed, Job, Location
from loomproof.job.quantity import Quantity
from loomproof.job.wire import wire_quantity

IGNITIONS = {"single": "a coil for each cylinder", "wasted_spark": "wasted spark", "none": "no ignition"}
BANKS = {1: "left", 2: "right"}


@dataclass(frozen=True)
class OverviewTable:
    """One table; every cell is plain text."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def engine_text(engine: Engine) -> str:
    """Return the engine in one line."""
    return ", ".join(_engine_parts(engine))


def _engine_parts(engine: Engine) -> Iterator[str]:
    yield f"engine of {engine.cylinders} cylinders"
    if engine.layout != "none":
        yield engine.layout
    if engine.bank_angle_deg is not None:
        yield f"{engine.bank_angle_deg:g}° between the banks"
    yield f"fires {'-'.join(map(str, engine.firing_order))}"
    if engine.intervals_deg is not None:
        yield f"unevenly, after {', '.join(f'{angle:g}' for angle in engine.intervals_deg)}°"
    yield IGNITIONS[engine.ignition]
    if engine.displacement_cm3 is not None:
        yield f"{engine.displacement_cm3:g} cm³"


def overview(job: Job) -> tuple[OverviewTable, ...]:
    """Return the tables of loads, feeds and places; what a job does not have is left out."""
    keys = dict.fromkeys(channel.load for channel in sorted(job.channels, key=lambda one: one.channel))
    tables = (
        OverviewTable(
            ("Load", "What it is", "Ω", "mH", "Steady A", "Inrush ×", "Fuel pump"),
            tuple(_load_row(job.base_load(key)) for key in keys),
        ),
        OverviewTable(
            ("Feed", "Name", "Terminal", "Fuse A", "Cavity", "Wire", "Wire Ω"),
            tuple(_feed_row(feed) for feed in job.feeds),
        ),
        OverviewTable(
            ("Location", "Cylinder", "Bank", "Where to look"),
            tuple(_place_row(location) for location in job.locations),
        ),
    )
    return tuple(table for table in tables if table.rows)


def _load_row(load: LoadType) -> tuple[str, ...]:
    return (
        load.key,
        load.name,
        _value(load.resistance_ohm),
        _value(load.inductance_mh),
        _value(load.steady_current_a),
        _value(load.inrush_ratio),
        "yes" if load.fuel_pump else "",
    )


def _feed_row(feed: Feed) -> tuple[str, ...]:
    return (
        feed.id,
        feed.name,
        feed.terminal,
        "" if feed.fuse_a is None else f"{feed.fuse_a:g}",
        feed.cavity or "",
        feed.wire or "",
        f"{wire_quantity(feed.section_mm2, feed.length_m).value:.3f}",
    )


def _place_row(location: Location) -> tuple[str, ...]:
    serves = "/".join(map(str, location.serves))
    bank = "" if location.bank is None else BANKS[location.bank]
    return location.name, serves, bank, location.place


def _value(value: Quantity | None) -> str:
    return "" if value is None else f"{value.value:g}"
