"""From a question of the session to what the screen asks. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from loomproof.procedure.prompts import CHOICE_TEXT, Choice, Prompt, PromptKind
from loomproof.safety.cautions import Caution
from loomproof.tui.views.prompt import CautionView, ChoiceView, FactView, PromptView

CHOICE_KEYS: dict[Choice, str] = {
    Choice.STATE: "i",
    Choice.DRIVE: "g",
    Choice.SKIP: "k",
    Choice.LEAVE: "l",
    Choice.HEARD: "h",
    Choice.SEEN: "s",
    Choice.NOTHING: "n",
    Choice.AGAIN: "a",
    Choice.NOT_ASKED: "w",
    Choice.PULLED: "p",
    Choice.SEATED: "t",
}


CHOICE_LABELS: dict[Choice, str] = CHOICE_TEXT | {
    Choice.DRIVE: "go on",
    Choice.LEAVE: "stop the sheet here",
    Choice.SEATED: "seated again",
}
"""Short enough for three beside each other on a small screen."""


def caution_views(cautions: Sequence[Caution]) -> tuple[CautionView, ...]:
    """Return cautions for the screen."""
    return tuple(CautionView(caution.signal.value, caution.text) for caution in cautions)


_SHORT = {PromptKind.PULL: "Pull", PromptKind.SEAT: "Seat"}


def prompt_view(prompt: Prompt, where: str = "") -> PromptView:
    """Return a prompt for the screen; `where` names the connector that it is about."""
    form = prompt.statement
    return PromptView(
        id=str(prompt.number),
        title=prompt.title,
        text=prompt.text,
        choices=tuple(
            ChoiceView(CHOICE_KEYS[choice], CHOICE_LABELS[choice], choice.value, choice is Choice.SKIP)
            for choice in prompt.choices
        ),
        cautions=caution_views(prompt.cautions),
        facts=tuple(FactView(fact.key, fact.text) for fact in form.facts) if form else (),
        typed_word=form.typed_word if form else "",
        channel=prompt.channel,
        short=f"{_SHORT[prompt.kind]} {where}" if prompt.kind in _SHORT and where else "",
        says_what=prompt.kind is PromptKind.READY,
        problem=prompt.problem,
    )
