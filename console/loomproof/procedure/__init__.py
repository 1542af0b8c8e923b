"""The run sheet as a state machine over a box, an operator and a recorder, all handed in."""

from loomproof.procedure.configuring import WrongBoxError
from loomproof.procedure.core import NotPermittedError, StepInterruptedError
from loomproof.procedure.driving import OverBudgetError
from loomproof.procedure.freely import FreeDrive
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
from loomproof.procedure.session import Session
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
    "FreeDrive",
    "NotPermittedError",
    "NullRecorder",
    "Operator",
    "OverBudgetError",
    "Prompt",
    "PromptKind",
    "Recorder",
    "RunSheet",
    "Session",
    "SoftwareFacts",
    "StatementMade",
    "Step",
    "StepBegan",
    "StepEnd",
    "StepInterruptedError",
    "StepKind",
    "StepOutcome",
    "TraceCounts",
    "WrongBoxError",
    "build_sheet",
]
