"""What of a job is written in cells: the keys, their headings, and what each means."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from loomproof.facts.kinds import HazardClass, JobSetting
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.file.document import JobDocument
from loomproof.job.wire import COLOURS
from loomproof.tui.widgets.grid import GridColumn


@dataclass(frozen=True)
class Field:
    """One key: where it stands in the text, its name on the page, and what it means."""

    key: str
    label: str
    meaning: str
    table: str = "channels"


CHANNEL_FIELDS = (
    Field("channel", "Output", "of the box, 1 to 16"),
    Field("name", "Name", "what the circuit is called"),
    Field("cavity", "Cavity", "connector id, hyphen, number: H1-14"),
    Field("wire", "Wire", "IEC 60757, base then stripe: GNWH"),
    Field("section_mm2", "Section", "mm²; empty: 0.5"),
    Field("length_m", "Length", "m, header to load; empty: 2"),
    Field("load", "Load", "a load type; c lists them"),
    Field("location", "Place", "where its connector is; c lists, adds"),
    Field("feed", "Feed", "what supplies it; c lists, adds"),
    Field("fitted", "Fitted", "yes or no; empty: yes"),
    Field("fuel_pump", "Fuel pump", "yes if driving it runs a fuel pump"),
    Field("override.hazard", "Hazard", "of what it switches; c lists"),
    Field("group", "Stepper", "its four windings share one name"),
    Field("partner", "Partner", "the half-bridge's other channel"),
    Field("train.on_time_ms", "On-time", "ms; empty: the load type's train"),
    Field("train.frequency_hz", "Rate", "per second"),
    Field("train.count", "Pulses", ""),
)
HEAD_FIELDS = (
    Field("title", "Title", "what the loom is", "identity"),
    Field("job_number", "Job number", "the shop's own", "identity"),
    Field("serial", "Serial", "of this very loom", "identity"),
    Field("customer", "Customer", "", "identity"),
    Field("vehicle", "Vehicle", "", "identity"),
    Field("builder", "Builder", "", "identity"),
    Field("note", "Note", "", "identity"),
    Field("setting", "Setting", "bench, vehicle, classroom: for the cautions", ""),
    Field(
        "fuel", "Fuel", "petrol, e85, ethanol, methanol, diesel, paraffin, lpg; empty: the most flammable", ""
    ),
    Field("ambient_c", "Ambient", "°C of the loom and its loads; empty: 20", ""),
    Field("cylinders", "Cylinders", "of the engine", "engine"),
    Field("layout", "Layout", "inline, vee, flat or none", "engine"),
    Field("firing_order", "Fires", "the order, beginning with 1", "engine"),
    Field("ignition", "Ignition", "single, wasted_spark or none", "engine"),
    Field("orientation", "Lies", "lengthwise or crosswise", "engine"),
    Field("free_end", "Free end", "front, rear, left or right", "engine"),
)
GRID_COLUMNS = (
    GridColumn("channel", "Ch", 4),
    GridColumn("name", "Name", 20),
    GridColumn("cavity", "Cavity", 7),
    GridColumn("wire", "Wire", 6),
    GridColumn("load", "Load", 16),
    GridColumn("location", "Place", 14),
    GridColumn("feed", "Feed", 6),
    GridColumn("section_mm2", "mm²", 5),
    GridColumn("length_m", "m", 5),
)
FORM_COLUMNS = (
    GridColumn("label", "Key", 10, editable=False),
    GridColumn("value", "Value", 20),
    GridColumn("meaning", "What it means", 40, editable=False),
)
EXTENDED_BY = {"location": "locations", "feed": "feeds"}
"""Keys whose list can be extended, and the table that holds it."""


def choices(key: str, document: JobDocument) -> list[tuple[str, str]]:
    """Return what a key may be: (what is written, what it means)."""
    fixed: dict[str, Sequence[tuple[str, str]]] = {
        "override.hazard": [(hazard.value, "") for hazard in HazardClass],
        "setting": [(setting.value, "") for setting in JobSetting],
        "layout": [(name, "") for name in ("inline", "vee", "flat", "none")],
        "ignition": [(name, "") for name in ("single", "wasted_spark", "none")],
        "orientation": [(name, "") for name in ("lengthwise", "crosswise")],
        "free_end": [(name, "") for name in ("front", "rear", "left", "right")],
        "fitted": [("yes", ""), ("no", "")],
        "fuel_pump": [("yes", ""), ("no", "")],
        "wire": [(code, "") for code in COLOURS],
    }
    if key == "load":
        own = [(str(row.get("key", "")), str(row.get("name", ""))) for row in document.rows("loads") or ()]
        return own + [(name, load.name) for name, load in CATALOGUE.items()]
    if key in EXTENDED_BY:
        return [
            (str(row.get("id", "")), str(row.get("name", "")))
            for row in document.rows(EXTENDED_BY[key]) or ()
        ]
    return list(fixed.get(key, ()))
