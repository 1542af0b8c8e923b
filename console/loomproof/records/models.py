"""The bodies of a record's entries, one model for each kind of entry.

They are the record's own models, separate from the rooms where the facts arise, so that today's records remain
readable when those rooms change. `from_attributes` copies the facts by name.
"""

from __future__ import annotations

import math
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field


class RecordFact(BaseModel):
    """Base of all facts: frozen, copied from any object with the same attributes, unknown fields ignored."""

    model_config = ConfigDict(frozen=True, from_attributes=True, extra="ignore", ser_json_inf_nan="strings")


def _finite_dof(value: object) -> object:
    return math.inf if value is None else value


class EstimateFact(RecordFact):
    """A value with its standard uncertainty and degrees of freedom."""

    value: float
    u: float
    dof: Annotated[float, BeforeValidator(_finite_dof)] = math.inf


class RangeFact(RecordFact):
    """Limits of a property, and their source."""

    low: float
    nominal: float
    high: float
    source: str = ""


class ChannelFact(RecordFact):
    """A channel as the job described it when the record was begun. Resistances hold at 20 degC."""

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


class IdentityFact(RecordFact):
    """The identity of the loom."""

    title: str = ""
    job_number: str = ""
    serial: str = ""
    customer: str = ""
    vehicle: str = ""
    builder: str = ""
    note: str = ""


class BoxFact(RecordFact):
    """The box, as the measuring instrument."""

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


class SoftwareFact(RecordFact):
    """The program that wrote the record."""

    name: str
    version: str
    protocol_spec_hash: int = 0


class BegunFact(RecordFact):
    """The first entry of a record."""

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


class ResumedFact(RecordFact):
    """The record is carried on, perhaps with another box or by another person."""

    KIND: ClassVar[str] = "resumed"
    box: BoxFact
    operator: str
    software: SoftwareFact


class StepBeganFact(RecordFact):
    """A step begins."""

    KIND: ClassVar[str] = "step_began"
    step_id: str
    attempt: int
    kind: str
    title: str
    channel: int | None = None
    began_s: float = 0.0


class TraceHeader(RecordFact):
    """The meaning of a trace's counts, and the digest of the counts themselves."""

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


class StepEndedFact(RecordFact):
    """A step ended. `outcome` is the whole outcome as the procedure made it."""

    KIND: ClassVar[str] = "step_ended"
    step_id: str
    attempt: int
    outcome: dict[str, Any]
    traces: tuple[TraceHeader, ...] = ()

    @property
    def verdict(self) -> str:
        """The verdict of the step."""
        return str(self.outcome.get("verdict") or "not tested")

    @property
    def skipped_reason(self) -> str:
        """The reason why the step was skipped; empty when it was not."""
        return str(self.outcome.get("skipped_reason") or "")

    @property
    def note(self) -> str:
        """A note by the operator or the procedure."""
        return str(self.outcome.get("note") or "")

    @property
    def noticed(self) -> str:
        """The operator's observation: `heard`, `seen`, `nothing`, `not asked`, or empty."""
        return str(self.outcome.get("noticed") or "")


class InterruptedFact(RecordFact):
    """A step was begun and never ended; noted when the record was carried on."""

    KIND: ClassVar[str] = "interrupted"
    step_id: str
    attempt: int
    began_sequence: int


class StatementFact(RecordFact):
    """A person made a statement."""

    KIND: ClassVar[str] = "statement"
    kind: str
    sentence: str
    facts: tuple[str, ...]
    who: str
    made_s: float
    valid_for_s: float | None = None
    setting: str = ""


class EventFact(RecordFact):
    """Something happened outside the steps, such as a stop."""

    KIND: ClassVar[str] = "event"
    kind: str
    text: str
    at_s: float
    channel: int | None = None
    facts: dict[str, Any] = Field(default_factory=dict)


class VerdictFact(RecordFact):
    """The verdict on one property of one channel."""

    channel: int
    property: str
    verdict: str
    measured: EstimateFact | None = None
    low: float | None = None
    high: float | None = None
    unit: str = ""
    limit_source: str = ""
    reason: str = ""
    log_odds: float | None = None
    least_joint_ohm: float | None = None
    probability: float | None = None
    """With `risk`, in records of earlier versions only: they stated it too low, so no report prints it."""
    risk: float | None = None


class FindingFact(RecordFact):
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


class FindingsFact(RecordFact):
    """Verdicts and findings at one moment, with the verdict of each whole channel."""

    KIND: ClassVar[str] = "findings"
    verdicts: tuple[VerdictFact, ...]
    findings: tuple[FindingFact, ...]
    channel_verdicts: dict[int, str]


class FinishedFact(RecordFact):
    """The last entry of a finished record, which may be carried on later."""

    KIND: ClassVar[str] = "finished"
    verdict: Literal["pass", "fail", "unsure", "not tested"]
    note: str = ""


Body = (
    BegunFact
    | ResumedFact
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
        BegunFact,
        ResumedFact,
        StepBeganFact,
        StepEndedFact,
        InterruptedFact,
        StatementFact,
        EventFact,
        FindingsFact,
        FinishedFact,
    )
}
