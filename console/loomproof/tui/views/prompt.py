"""A question to the operator, with its cautions, facts and answers."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class CautionView:
    """A caution with its signal word."""

    signal: str
    text: str


@dataclass(frozen=True)
class ChoiceView:
    """One answer to a prompt: the key that gives it, its label and the value handed back."""

    key: str
    label: str
    value: str
    needs_reason: bool = False


@dataclass(frozen=True)
class FactView:
    """One fact of a statement: its key and its words."""

    key: str
    text: str


@dataclass(frozen=True)
class PromptView:
    """A question to the operator. With `facts` it is a statement, put in a window of its own."""

    id: str
    title: str
    text: str
    choices: tuple[ChoiceView, ...] = ()
    cautions: tuple[CautionView, ...] = ()
    facts: tuple[FactView, ...] = ()
    typed_word: str = ""
    """With a word, each fact is confirmed by typing `yes`, the whole by the word; without, by a tick each."""
    channel: int | None = None
    short: str = ""
    """The title in the few words that can be read from afar; empty: the title itself."""
    says_what: bool = False
    """The text says what will happen, so that the step's own words for it are not shown as well."""
    problem: str = ""
    """What was wrong with the answer before."""
