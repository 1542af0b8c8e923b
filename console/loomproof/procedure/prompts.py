"""What the procedure asks of a person, and how it is answered."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from loomproof.facts.kinds import HazardClass
from loomproof.safety.cautions import Caution
from loomproof.safety.statements import StatementForm


class PromptKind(StrEnum):
    """What is asked."""

    STATEMENT = "statement"
    READY = "ready"
    NOTICED = "noticed"
    PULL = "pull"
    SEAT = "seat"
    WIGGLE = "wiggle"


class Choice(StrEnum):
    """Every answer there is; a prompt offers some of them."""

    STATE = "state"
    DRIVE = "drive"
    SKIP = "skip"
    LEAVE = "leave"
    HEARD = "heard"
    SEEN = "seen"
    NOTHING = "nothing"
    AGAIN = "again"
    NOT_ASKED = "not asked"
    PULLED = "pulled"
    SEATED = "seated"


CHOICE_TEXT: dict[Choice, str] = {
    Choice.STATE: "I state this",
    Choice.DRIVE: "drive it now",
    Choice.SKIP: "skip this step",
    Choice.LEAVE: "stop the run sheet here",
    Choice.HEARD: "heard it",
    Choice.SEEN: "saw it",
    Choice.NOTHING: "noticed nothing",
    Choice.AGAIN: "drive it again",
    Choice.NOT_ASKED: "could not watch",
    Choice.PULLED: "it is pulled",
    Choice.SEATED: "it is seated again",
}


@dataclass(frozen=True, slots=True)
class Prompt:
    """One question, or one thing to do with the hands.

    `number` is unique in a session. For a statement, `statement` is the form: the answer needs the keys of
    all facts that were confirmed, the typed word where the form has one, and a name. The first of
    `choices` is the answer that goes on; none of them is ever taken for granted.
    """

    number: int
    kind: PromptKind
    step_id: str
    title: str
    text: str
    choices: tuple[Choice, ...]
    cautions: tuple[Caution, ...] = ()
    channel: int | None = None
    location: str | None = None
    hazard: HazardClass = HazardClass.NONE
    statement: StatementForm | None = None
    problem: str = ""
    channels: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer to a prompt. `note` is the reason of a skip, or a remark."""

    choice: Choice
    facts: tuple[str, ...] = ()
    typed: str = ""
    who: str = ""
    note: str = ""


class Operator(Protocol):
    """The person, or what plays the person. Called from the thread that runs the session.

    A waiting `answer` must end with `Answer(Choice.LEAVE)` soon after `cancel` is called from another thread.
    """

    @property
    def name(self) -> str:
        """Name or initials, for the record and the statements."""
        ...

    def answer(self, prompt: Prompt) -> Answer:
        """Put the prompt and wait for its answer."""
        ...

    def show(self, prompt: Prompt) -> None:
        """Put a prompt whose answer is optional; the box is being watched meanwhile."""
        ...

    def poll(self, prompt: Prompt) -> Answer | None:
        """The answer to a shown prompt if there is one yet; never waits."""
        ...

    def withdraw(self, prompt: Prompt) -> None:
        """Take a shown prompt away: it has answered itself."""
        ...

    def cancel(self) -> None:
        """End any waiting `answer`; may be called from any thread."""
        ...
