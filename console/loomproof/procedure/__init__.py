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
from loomproof.procedure.prompts import CHOICE_TEXT, Answer, Choice, Operator, Prompt, PromptKind
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

__all__ = [
    "CHOICE_TEXT",
    "Answer",
    "BoxFacts",
    "Choice",
    "DrivePlan",
    "DriveShape",
    "EventKind",
    "EventNoted",
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
]
