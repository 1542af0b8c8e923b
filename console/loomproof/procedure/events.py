"""What a session tells its subscribers: past-tense facts, as frozen snapshots.

Subscribers are called in the thread that runs the session (stop-related ones also from others) and must
not wait.
"""

from __future__ import annotations

from dataclasses import dataclass

from loomproof.facts.drive import PulseTrain
from loomproof.facts.finding import Finding
from loomproof.facts.kinds import HazardClass
from loomproof.facts.signature import Signature
from loomproof.facts.trace import Trace
from loomproof.facts.verdict import PropertyVerdict
from loomproof.procedure.prompts import Answer, Prompt
from loomproof.procedure.step import Step
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.procedure.walk.model import Happening, WalkState
from loomproof.safety.interlocks import Interlocks, Statement, Voider
from loomproof_wire.messages import EndReason


@dataclass(frozen=True, slots=True)
class SessionOpened:
    """The box is configured and the record begun."""

    record_id: str


@dataclass(frozen=True, slots=True)
class StepStarted:
    """A step began."""

    step: Step
    attempt: int


@dataclass(frozen=True, slots=True)
class StepFinished:
    """A step ended and is in the record."""

    step: Step
    outcome: StepOutcome


@dataclass(frozen=True, slots=True)
class PromptPut:
    """A prompt was put to the operator."""

    prompt: Prompt


@dataclass(frozen=True, slots=True)
class PromptAnswered:
    """A prompt was answered, or withdrawn (`answer` is None)."""

    prompt: Prompt
    answer: Answer | None


@dataclass(frozen=True, slots=True)
class InterlocksChanged:
    """A statement was made or voided."""

    interlocks: Interlocks
    made: Statement | None = None
    voided_by: Voider | None = None


@dataclass(frozen=True, slots=True)
class HazardArmed:
    """A class was armed in the box."""

    hazard: HazardClass
    duration_s: float


@dataclass(frozen=True, slots=True)
class HazardDisarmed:
    """A class was disarmed."""

    hazard: HazardClass


@dataclass(frozen=True, slots=True)
class DriveStarted:
    """A channel began to be driven."""

    channel: int
    train: PulseTrain


@dataclass(frozen=True, slots=True)
class DriveFinished:
    """A drive ended."""

    channel: int
    pulses: int
    reason: EndReason


@dataclass(frozen=True, slots=True, eq=False)
class TraceTaken:
    """A trace was read."""

    trace: Trace
    band_until_s: float | None = None
    """What a sound load would draw can be told only up to here (it is chopped afterwards); None: all of it."""


@dataclass(frozen=True, slots=True)
class FreeDriveAdvanced:
    """A free drive of several trains begins one of them."""

    channel: int
    number: int
    of: int
    text: str


@dataclass(frozen=True, slots=True)
class ChannelMeasured:
    """A channel's signature was computed."""

    channel: int
    signature: Signature
    sense: bool


@dataclass(frozen=True, slots=True)
class LoadsPresent:
    """One scan of a pull check: the channels that have their load, and those that have lost it."""

    present: tuple[int, ...]
    lost: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class WalkChanged:
    """A location walk went on: how it stands, and what just happened (nothing, when only its clock moved)."""

    state: WalkState
    happened: tuple[Happening, ...] = ()


@dataclass(frozen=True, slots=True)
class JudgedAnew:
    """Verdicts and findings as they stand now."""

    verdicts: tuple[PropertyVerdict, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class SessionStopped:
    """Everything was stopped: by whom or by what."""

    reason: str


@dataclass(frozen=True, slots=True)
class StopCleared:
    """The stop was cleared; nothing is armed and nothing stated."""


@dataclass(frozen=True, slots=True)
class LinkFailed:
    """The link to the box was lost."""

    reason: str


@dataclass(frozen=True, slots=True)
class SupplyChanged:
    """The supply went away or came back."""

    present: bool
    supply_v: float


SessionEvent = (
    SessionOpened
    | StepStarted
    | StepFinished
    | PromptPut
    | PromptAnswered
    | InterlocksChanged
    | HazardArmed
    | HazardDisarmed
    | DriveStarted
    | DriveFinished
    | TraceTaken
    | FreeDriveAdvanced
    | ChannelMeasured
    | LoadsPresent
    | WalkChanged
    | JudgedAnew
    | SessionStopped
    | StopCleared
    | LinkFailed
    | SupplyChanged
)
