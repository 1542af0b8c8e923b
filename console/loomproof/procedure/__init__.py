"""The run sheet as a state machine over a box, an operator and a recorder, all handed in."""

from loomproof.procedure.model import (
    DrivePlan,
    DriveShape,
    RunSheet,
    Step,
    StepEnd,
    StepKind,
    StepOutcome,
)
from loomproof.procedure.port import BoxPort
from loomproof.procedure.prompts import CHOICE_TEXT, Answer, Choice, Operator, Prompt, PromptKind
from loomproof.procedure.recorders import NullRecorder
from loomproof.procedure.recording import (
    BoxFacts,
    EventKind,
    EventNoted,
    Recorder,
    SoftwareFacts,
    StatementMade,
    StepBegan,
    TraceCounts,
)
from loomproof.procedure.sheet import build_sheet

__all__ = [
    "CHOICE_TEXT",
    "Answer",
    "BoxFacts",
    "BoxPort",
    "Choice",
    "DrivePlan",
    "DriveShape",
    "EventKind",
    "EventNoted",
    "NullRecorder",
    "Operator",
    "Prompt",
    "PromptKind",
    "Recorder",
    "RunSheet",
    "SoftwareFacts",
    "StatementMade",
    "Step",
    "StepBegan",
    "StepEnd",
    "StepKind",
    "StepOutcome",
    "TraceCounts",
    "build_sheet",
]
