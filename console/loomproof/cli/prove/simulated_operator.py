"""A simulated operator: states everything, pulls what is asked for, notices what really moved.

For trying a job without a loom, and for tests. It needs the hands of a simulated box, so it never meets a
real one.
"""

from __future__ import annotations

from loomproof.cli.prove.hands import ProveHands, at_the_jobs_loom
from loomproof.job.load_traits import LOAD_TRAITS
from loomproof.job.model import Job
from loomproof.procedure.prompts import Answer, Choice, Prompt, PromptKind

POLLS_BEFORE_ANSWER = 15
"""How often the box may look before the operator says that it is pulled."""
FLEX_S = 3.5
"""How long the loom is flexed, per channel of the connector."""


class SimulatedOperator:
    """Answers every prompt as a careful person would who finds everything in order but the loom."""

    def __init__(self, hands: ProveHands, job: Job, name: str = "simulated operator") -> None:
        self._hands = hands
        self._job = job
        self._name = name
        self._polls = 0

    @property
    def name(self) -> str:
        """As it stands in the record."""
        return self._name

    def answer(self, prompt: Prompt) -> Answer:
        """Answer at once."""
        if prompt.kind is PromptKind.STATEMENT and prompt.statement is not None:
            form = prompt.statement
            return Answer(Choice.STATE, form.fact_keys, form.typed_word, self._name)
        if prompt.kind is PromptKind.NOTICED:
            return Answer(self._notice(prompt))
        if prompt.kind in (PromptKind.PULL, PromptKind.SEAT):
            self.show(prompt)
        if prompt.kind is PromptKind.WIGGLE:
            with at_the_jobs_loom():
                self._hands.wiggle(_place(prompt), FLEX_S * max(1, len(prompt.channels)))
        return Answer(prompt.choices[0])

    def show(self, prompt: Prompt) -> None:
        """Do what is asked of the hands."""
        self._polls = 0
        place = _place(prompt)
        with at_the_jobs_loom():
            if prompt.kind is PromptKind.PULL:
                self._hands.pull(place)
            elif prompt.kind is PromptKind.SEAT:
                self._hands.seat(place)

    def poll(self, prompt: Prompt) -> Answer | None:
        """Say that it is done after a while."""
        self._polls += 1
        return Answer(prompt.choices[0]) if self._polls >= POLLS_BEFORE_ANSWER else None

    def withdraw(self, prompt: Prompt) -> None:
        """Nothing to take away."""

    def cancel(self) -> None:
        """Nothing waits."""

    def _notice(self, prompt: Prompt) -> Choice:
        """Return what is heard or seen at the place of the load when it was driven just now."""
        if prompt.channel is None:
            return Choice.NOT_ASKED
        with at_the_jobs_loom():
            noticed = self._hands.noticed(_place(prompt), prompt.channels)
        if not noticed:
            return Choice.NOTHING
        traits = LOAD_TRAITS[self._job.load_type(prompt.channel).kind]
        return Choice.SEEN if traits.seen else Choice.HEARD


def _place(prompt: Prompt) -> int | str:
    return prompt.location if prompt.location is not None else prompt.channel or 0
