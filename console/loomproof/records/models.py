"""The bodies of a record's entries: what is written for each kind, and read back from the store.

They are the record's own models, apart from the rooms the facts come from, so that a record written today can
be read when those rooms have moved on. `from_attributes` takes the facts over by name.
"""

from __future__ import annotations

import math
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field


class Fact(BaseModel):
    """Base: frozen, taken over from any object with the same attributes, unknown extras left aside."""

    model_config = ConfigDict(frozen=True, from_attributes=True, extra="ignore", ser_json_inf_nan="strings")


def _finite_dof(value: object) -> object:
    return math.inf if value is None else value


class EstimateFact(Fact):
    """A value with its standard uncertainty and degrees of freedom."""

    value: float
    u: float
    dof: Annotated[float, BeforeValidator(_finite_dof)] = math.inf


class RangeFact(Fact):
    """Limits of a property with where they come from."""

    low: float
    nominal: float
    high: float
    source: str = ""


class ChannelFact(Fact):
    """What the job said of one channel when the record was begun. Resistances hold at 20 degC."""

    channel: int
    name: str = ""
    cavity: str = ""
    wire: str = ""
    load_key: str = ""
    load_name: str = ""
    kind: str = ""
    hazard: str = ""
    location: str = ""
    feed: str = ""
    fitted: bool = True
    wire_ohm: float = 0.0
    moves: bool = False
    resistance_ohm: RangeFact | None = None
    inductance_h: RangeFact | None = None
    saturation_a: float | None = None
    steady_current_a: RangeFact | None = None


class IdentityFact(Fact):
    """Whose loom it is."""

    title: str = ""
    job_number: str = ""
    serial: str = ""
    customer: str = ""
    vehicle: str = ""
    builder: str = ""
    note: str = ""


class BoxFact(Fact):
    """The instrument."""

    board: str
    serial_number: str
    firmware_version: str
    protocol: str
    simulated: bool
    calibrated_on: str = ""
    adc_bits: int
    sample_period_ns: int
    build_hash: int = 0
    url: str = ""
    calibrations: dict[int, dict[str, float | None]] = Field(default_factory=dict)


class SoftwareFact(Fact):
    """The program."""

    name: str
    version: str
    protocol_spec_hash: int = 0


class Begun(Fact):
    """First entry of a record."""

    KIND: ClassVar[str] = "begun"
    identity: IdentityFact
    setting: str
    ambient_c: float
    channels: tuple[ChannelFact, ...]
    job_text: str
    job_digest: str
    box: BoxFact
    operator: str
    software: SoftwareFact


class Resumed(Fact):
    """The record was left and is carried on, perhaps with another box or by another person."""

    KIND: ClassVar[str] = "resumed"
    box: BoxFact
    operator: str
    software: SoftwareFact


class StepBeganFact(Fact):
    """A step is about to act."""

    KIND: ClassVar[str] = "step_began"
    step_id: str
    attempt: int
    kind: str
    title: str
    channel: int | None = None
    began_s: float = 0.0


class TraceHeader(Fact):
    """What a trace's counts mean, and the digest of the counts themselves."""

    channel: int
    pulse_index: int
    sample_period_ns: int
    on_time_us: int
    first_sample_ns: int
    supply_skew_ns: int
    drain_skew_ns: int
    truncated: bool
    tripped: bool
    purpose: str = "drive"
    samples: int
    counts_sha256: str


class StepEndedFact(Fact):
    """How a step ended. `outcome` is the procedure's own outcome, kept whole."""

    KIND: ClassVar[str] = "step_ended"
    step_id: str
    attempt: int
    outcome: dict[str, Any]
    traces: tuple[TraceHeader, ...] = ()

    @property
    def verdict(self) -> str:
        """The step's verdict in a word."""
        return str(self.outcome.get("verdict") or "not tested")

    @property
    def skipped_reason(self) -> str:
        """Why the step was skipped; empty when it was not."""
        return str(self.outcome.get("skipped_reason") or "")

    @property
    def note(self) -> str:
        """What the operator or the procedure added."""
        return str(self.outcome.get("note") or "")

    @property
    def noticed(self) -> str:
        """What the operator noticed: `heard`, `seen`, `nothing`, `not asked`, or empty."""
        return str(self.outcome.get("noticed") or "")


class InterruptedFact(Fact):
    """A step had begun and never ended; found when the record was carried on."""

    KIND: ClassVar[str] = "interrupted"
    step_id: str
    attempt: int
    began_sequence: int


class StatementFact(Fact):
    """What a person stated."""

    KIND: ClassVar[str] = "statement"
    kind: str
    sentence: str
    facts: tuple[str, ...]
    who: str
    made_s: float
    valid_for_s: float | None = None
    setting: str = ""


class EventFact(Fact):
    """What happened beside the steps."""

    KIND: ClassVar[str] = "event"
    kind: str
    text: str
    at_s: float
    channel: int | None = None
    facts: dict[str, Any] = Field(default_factory=dict)


class VerdictFact(Fact):
    """One property of one channel against its limits."""

    channel: int
    property: str
    verdict: str
    measured: EstimateFact | None = None
    low: float | None = None
    high: float | None = None
    unit: str = ""
    limit_source: str = ""
    reason: str = ""
    probability: float | None = None
    risk: float | None = None


class FindingFact(Fact):
    """One fault that explains verdicts."""

    fault: str
    channels: tuple[int, ...] = ()
    cavities: tuple[str, ...] = ()
    location: str | None = None
    feed: str | None = None
    likelihood: float = 0.0
    evidence_for: tuple[str, ...] = ()
    evidence_against: tuple[str, ...] = ()
    remedy: str = ""
    next_measurement: str = ""
    sentence: str = ""
    cannot_tell_from: tuple[str, ...] = ()


class FindingsFact(Fact):
    """Verdicts and findings as they stood at one moment, with the verdict of each whole channel."""

    KIND: ClassVar[str] = "findings"
    verdicts: tuple[VerdictFact, ...]
    findings: tuple[FindingFact, ...]
    channel_verdicts: dict[int, str]


class FinishedFact(Fact):
    """Last entry of a finished record (a record may be carried on after it)."""

    KIND: ClassVar[str] = "finished"
    verdict: Literal["pass", "fail", "unsure", "not tested"]
    note: str = ""


Body = (
    Begun
    | Resumed
    | StepBeganFact
    | StepEndedFact
    | InterruptedFact
    | StatementFact
    | EventFact
    | FindingsFact
    | FinishedFact
)

BODIES: dict[str, type[Body]] = {
    body.KIND: body
    for body in (
        Begun,
        Resumed,
        StepBeganFact,
        StepEndedFact,
        InterruptedFact,
        StatementFact,
        EventFact,
        FindingsFact,
        FinishedFact,
    )
}
