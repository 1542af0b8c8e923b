"""The job: one loom to be proven, as data. Read one with `loomproof.job.file.loading`."""

from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from loomproof.facts.kinds import Fuel, HazardClass, JobSetting, Suppression
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.engine import CylinderPlace, Engine
from loomproof.job.load_type import DriveLimits, LoadType, PeakHold, Train
from loomproof.job.matters import Matters
from loomproof.job.quantity import Flag, JobPart, Number, Quantity, Text, Whole
from loomproof.job.wire import COLOUR_PATTERN, LARGEST_MM2, SMALLEST_MM2, joined, wire_quantity

__all__ = [
    "OUTPUTS",
    "Channel",
    "Connector",
    "CylinderPlace",
    "Engine",
    "Feed",
    "Job",
    "LoadOverride",
    "Location",
    "LoomIdentity",
    "Matters",
]

OUTPUTS = 16
"""Outputs of a box."""
Name = Annotated[Text, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.+]*$", max_length=40)]
"""What other parts of the job call this part by: letters, digits, `_`, `.` and `+`."""
Cavity = Annotated[Text, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.+]*-[1-9][0-9]*$")]
"""Connector id, hyphen, cavity number: `H1-14`."""
WireColour = Annotated[Text, Field(pattern=COLOUR_PATTERN), AfterValidator(joined)]
"""IEC 60757 codes, base and stripe: `GNWH`; `GN/WH` is read as the same."""
Section = Annotated[Number, Field(ge=SMALLEST_MM2, le=LARGEST_MM2)]
Length = Annotated[Number, Field(gt=0, le=60)]
Note = Annotated[str, Field(strict=True, max_length=2000)]


class LoomIdentity(JobPart):
    """Whose loom it is and what it is for."""

    title: Text
    job_number: Text
    serial: Note = ""
    """Serial number of this very loom: earlier records of the same one are what it is compared with."""
    customer: Note = ""
    vehicle: Note = ""
    builder: Note = ""
    note: Note = ""


class Connector(JobPart):
    """A connector at the controller end, where the box plugs in."""

    id: Name
    name: Text
    rows: Annotated[Whole, Field(ge=1, le=20)] = 1
    columns: Annotated[Whole, Field(ge=1, le=100)] | None = None
    """If left out: as many as the cavities need."""
    cavities: Annotated[Whole, Field(ge=1, le=400)]
    seen_from: Literal["mating", "wire"] | None = None
    """The side from which rows and columns are described. If left out, the wire side is drawn and called unknown."""
    numbering: Literal["rows", "columns", "serpentine"] | None = None
    """How the cavities count on: along each row (the default), down each column, or every second row backwards."""
    first: Literal["top_left", "top_right", "bottom_left", "bottom_right"] | None = None
    """The corner where cavity 1 is, from that side. If left out: top left."""
    face: tuple[tuple[Annotated[Whole, Field(ge=0, le=400)], ...], ...] | None = None
    """Cavity numbers row by row, 0 where there is none; for a face that no rule above describes."""


class Feed(JobPart):
    """The shared supply of a group of loads."""

    id: Name
    name: Text
    terminal: Literal["15", "30", "87"] = "87"
    """DIN 72552: 15 switched plus, 30 battery plus, 87 relay output."""
    fuse_a: Annotated[Number, Field(ge=0.5, le=150)] | None = None
    cavity: Cavity | None = None
    """Where the feed enters the header, if it does."""
    wire: WireColour | None = None
    section_mm2: Section = 1.5
    length_m: Length = 1.0


class Location(JobPart):
    """The place where a load's connector is."""

    id: Name
    name: Text
    cylinder: Whole | None = None
    """The one cylinder it serves."""
    cylinders: tuple[Whole, ...] = ()
    """The companions it serves, for a wasted-spark coil."""
    bank: Annotated[Whole, Field(ge=1, le=2)] | None = None
    """1 left, 2 right, seen from the engine's free end."""
    place: Note = ""
    """Where to look for it."""

    @property
    def serves(self) -> tuple[int, ...]:
        """Cylinders this location serves, in the order written."""
        return self.cylinders if self.cylinder is None else (self.cylinder,)


class LimitsOverride(JobPart):
    """Drive limits that differ from the load type's."""

    max_on_time_ms: Annotated[Number, Field(ge=0.05, le=100)] | None = None
    max_hold_ms: Annotated[Whole, Field(ge=0, le=10000)] | None = None
    max_duty: Annotated[Number, Field(gt=0, le=0.9)] | None = None
    max_frequency_hz: Annotated[Number, Field(ge=0.1, le=5000)] | None = None
    max_count: Annotated[Whole, Field(ge=1, le=2000)] | None = None
    max_current_a: Annotated[Number, Field(ge=0.01, le=20)] | None = None
    max_sense_us: Annotated[Whole, Field(ge=0, le=200)] | None = None

    def apply(self, limits: DriveLimits) -> DriveLimits:
        """Return `limits` with what is said here in place."""
        return limits.model_copy(update=self.model_dump(exclude_none=True))


class LoadOverride(JobPart):
    """What is known better about one channel's load than its type says."""

    resistance_ohm: Quantity | None = None
    inductance_mh: Quantity | None = None
    saturation_a: Quantity | None = None
    pull_in_a: Quantity | None = None
    opening_ms: Quantity | None = None
    steady_current_a: Quantity | None = None
    inrush_ratio: Quantity | None = None
    flow_cc_min: Quantity | None = None
    suppression: Suppression | None = None
    suppression_ohm: Quantity | None = None
    hazard: HazardClass | None = None
    """A relay that switches something dangerous may be given a hazard; a hazard is never taken away."""
    peak_hold: PeakHold | None = None
    notice: Text | None = None
    limits: LimitsOverride | None = None

    def apply(self, load: LoadType) -> LoadType:
        """Return `load` with what is said here in place."""
        said = {name: getattr(self, name) for name in type(self).model_fields}
        update = {name: value for name, value in said.items() if value is not None and name != "limits"}
        if self.limits is not None:
            update["limits"] = self.limits.apply(load.limits)
        return load.model_copy(update=update)


class Channel(JobPart):
    """One output of the box and what the loom should connect it to."""

    channel: Annotated[Whole, Field(ge=1, le=OUTPUTS)]
    """Output of the box."""
    name: Text
    cavity: Cavity
    wire: WireColour | None = None
    section_mm2: Section = 0.5
    length_m: Length = 2.0
    """Of the wire from the header to the load."""
    load: Text
    """Key of a load type."""
    location: Name | None = None
    feed: Name | None = None
    fuel_pump: Flag = False
    """Driving this channel makes a fuel pump run."""
    fitted: Flag = True
    """`false`: the loom has the wire, the vehicle does not have the load."""
    group: Name | None = None
    """Stepper windings that belong together share a group; their order of channels is the order of steps."""
    partner: Annotated[Whole, Field(ge=1, le=OUTPUTS)] | None = None
    """The other channel of a half-bridge pair."""
    override: LoadOverride | None = None
    train: Train | None = None
    """What it is driven with, if not its load type's."""


class Job(JobPart):
    """One loom to be proven.

    A job read by `loomproof.job.file.loading` has passed every check; one put together in code has passed only the
    checks of its parts.
    """

    schema_version: Literal[1] = 1
    identity: LoomIdentity
    setting: JobSetting
    """Where the loom is while it is proven."""
    ambient_c: Annotated[Number, Field(ge=-40, le=80)] = 20.0
    """Temperature of the loom and its loads, degC."""
    fuel: Fuel | None = None
    """What the injectors let out; if left out, the fuel of which the least is flammable."""
    connectors: tuple[Connector, ...]
    feeds: tuple[Feed, ...] = ()
    locations: tuple[Location, ...] = ()
    engine: Engine | None = None
    matters: Matters = Matters()
    """The smallest faults that matter on this loom."""
    loads: tuple[LoadType, ...] = ()
    """Load types of this job's own, beside the catalogue's."""
    channels: Annotated[tuple[Channel, ...], Field(min_length=1, max_length=16)]

    def channel(self, number: int) -> Channel:
        """Return the channel of that number.

        Raises:
            KeyError: The job has no such channel.
        """
        for channel in self.channels:
            if channel.channel == number:
                return channel
        raise KeyError(number)

    def base_load(self, key: str) -> LoadType:
        """Return the load type of that key, the job's own first.

        Raises:
            KeyError: Neither the job nor the catalogue has it.
        """
        for load in self.loads:
            if load.key == key:
                return load
        return CATALOGUE[key]

    def load_type(self, number: int) -> LoadType:
        """Return what hangs on a channel, its override and its own train applied."""
        channel = self.channel(number)
        load = self.base_load(channel.load)
        if channel.override is not None:
            load = channel.override.apply(load)
        return load if channel.train is None else load.model_copy(update={"train": channel.train})

    def sisters(self, number: int) -> tuple[int, ...]:
        """Return the other fitted channels with the same load type and override, in order."""
        me = self.channel(number)
        return tuple(
            other.channel
            for other in sorted(self.channels, key=lambda channel: channel.channel)
            if other.channel != number
            and other.fitted
            and (other.load, other.override) == (me.load, me.override)
        )

    def location_of(self, number: int) -> Location | None:
        """Return where a channel's load is."""
        wanted = self.channel(number).location
        return next((location for location in self.locations if location.id == wanted), None)

    def feed_of(self, number: int) -> Feed | None:
        """Return what supplies a channel's load."""
        wanted = self.channel(number).feed
        return next((feed for feed in self.feeds if feed.id == wanted), None)

    def wire_quantity(self, number: int) -> Quantity:
        """Return the resistance of a channel's wire, header to load, in ohm at 20 degC."""
        channel = self.channel(number)
        return wire_quantity(channel.section_mm2, channel.length_m)

    def wire_ohm(self, number: int) -> float:
        """Return the nominal resistance of a channel's wire, header to load, in ohm at 20 degC."""
        return self.wire_quantity(number).value

    def feed_ohm(self, feed_id: str) -> float:
        """Return the nominal resistance of a feed's wire in ohm at 20 degC.

        Raises:
            KeyError: The job has no such feed.
        """
        for feed in self.feeds:
            if feed.id == feed_id:
                return wire_quantity(feed.section_mm2, feed.length_m).value
        raise KeyError(feed_id)
