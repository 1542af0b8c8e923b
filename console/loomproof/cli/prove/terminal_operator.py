"""An operator on a plain terminal: prompts on standard output, answers from standard input, line by line."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from typing import TextIO

from rich.console import Console
from rich.text import Text

from loomproof.facts.signal import SIGNAL_COLOURS
from loomproof.procedure.prompts import CHOICE_TEXT, Answer, Choice, Prompt, PromptKind
from loomproof.safety.cautions import Caution

STYLE = {signal: f"bold {colour}" for signal, colour in SIGNAL_COLOURS.items()}
WAIT_S = 0.1
STOP_WORDS = ("stop", "s!")


class _Cancelled(Exception):  # noqa: N818 - never leaves this module
    pass


class AskingOperator:
    """A person at a plain terminal.

    Args:
        name: for the record; statements ask for it when it is empty.
        lines: where answers come from.
        console: where prompts go.
        alive: called while waiting, so that a person who reads does not let the box's heartbeat run out.
        stop: called when somebody types `stop`.
    """

    def __init__(
        self,
        name: str,
        lines: TextIO,
        console: Console,
        alive: Callable[[], None],
        stop: Callable[[str], None],
    ) -> None:
        self._name = name
        self._console = console
        self._alive = alive
        self._stop = stop
        self._answers: queue.Queue[str | None] = queue.Queue()
        self._fresh_only = lines.isatty()
        self._cancelled = threading.Event()
        threading.Thread(target=self._read, args=(lines,), name="terminal reader", daemon=True).start()

    @property
    def name(self) -> str:
        """Name or initials."""
        return self._name

    def answer(self, prompt: Prompt) -> Answer:
        """Put the prompt and wait."""
        self._cancelled.clear()
        try:
            self._put(prompt)
            if prompt.kind is PromptKind.STATEMENT:
                return self._statement(prompt)
            return self._choose(prompt)
        except _Cancelled:
            return Answer(Choice.LEAVE)

    def show(self, prompt: Prompt) -> None:
        """Put the prompt; the box answers it by itself, or the person does."""
        self._cancelled.clear()
        self._put(prompt)
        self._list(prompt)

    def poll(self, prompt: Prompt) -> Answer | None:
        """The person's answer, if there is one."""
        try:
            line = self._answers.get_nowait()
        except queue.Empty:
            return None
        try:
            choice = self._understand(line, prompt)
        except _Cancelled:
            return Answer(Choice.LEAVE)
        return None if choice is None else self._finish(choice)

    def typed(self) -> str | None:
        """The next line typed, outside any prompt, while the box is kept alive; None when there is none."""
        self._alive()
        try:
            line = self._answers.get_nowait()
        except queue.Empty:
            return None
        return line or None

    def withdraw(self, prompt: Prompt) -> None:
        """Say that it is no longer asked."""
        if prompt.kind in (PromptKind.PULL, PromptKind.SEAT):
            self._console.print("  (seen)")

    def cancel(self) -> None:
        """End whatever waits; from any thread."""
        self._cancelled.set()

    def _read(self, lines: TextIO) -> None:
        for line in lines:
            word = line.strip()
            if word.lower() in STOP_WORDS:
                self._stop("stopped at the terminal")
            self._answers.put(word)
        self._answers.put(None)

    def _line(self) -> str:
        """The next line typed, while the box is kept alive."""
        while not self._cancelled.is_set():
            self._alive()
            try:
                line = self._answers.get(timeout=WAIT_S)
            except queue.Empty:
                continue
            if line is None or line.lower() in STOP_WORDS:
                break
            return line
        raise _Cancelled

    def _put(self, prompt: Prompt) -> None:
        """Print a prompt. What was typed at a terminal before it stood there is no answer to it."""
        while self._fresh_only and not self._answers.empty():
            self._answers.get_nowait()
        self._console.print()
        self._console.print(Text(prompt.title, style="bold"))
        if prompt.problem:
            self._console.print(Text(f"  Not accepted: {prompt.problem}"))
        self._cautions(prompt.cautions)
        self._console.print(Text(f"  {prompt.text}"))

    def _cautions(self, cautions: tuple[Caution, ...]) -> None:
        for caution in cautions:
            line = Text("  ")
            line.append(f"{caution.signal}: ", style=STYLE[caution.signal])
            line.append(caution.text)
            self._console.print(line)

    def _list(self, prompt: Prompt) -> None:
        for number, choice in enumerate(prompt.choices, start=1):
            self._console.print(Text(f"    {number}  {_words(choice, prompt)}"))

    def _choose(self, prompt: Prompt) -> Answer:
        self._list(prompt)
        while True:
            choice = self._understand(self._line(), prompt)
            if choice is not None:
                return self._finish(choice)

    def _understand(self, line: str | None, prompt: Prompt) -> Choice | None:
        """The choice a line names, by number or by its words; None when it names none."""
        if line is None or line.lower() in STOP_WORDS:
            raise _Cancelled
        if line.isdigit() and 1 <= int(line) <= len(prompt.choices):
            return prompt.choices[int(line) - 1]
        for choice in prompt.choices:
            if line.lower() in (choice.value, _words(choice, prompt)):
                return choice
        self._console.print(f"  Type a number from 1 to {len(prompt.choices)}, or stop.")
        return None

    def _finish(self, choice: Choice) -> Answer:
        if choice is not Choice.SKIP:
            return Answer(choice)
        self._console.print("  Why do you skip it?")
        try:
            return Answer(choice, note=self._line())
        except _Cancelled:
            return Answer(Choice.LEAVE)

    def _statement(self, prompt: Prompt) -> Answer:
        """Each fact on its own, then the word, then the name."""
        form = prompt.statement
        if form is None:
            return self._choose(prompt)
        self._console.print("  Answer yes only to what you have checked yourself; anything else is no.")
        facts: list[str] = []
        for fact in form.facts:
            self._console.print(Text(f"  - {fact.text}? (yes/no)"))
            if self._line().lower() not in ("yes", "y"):
                return Answer(Choice.SKIP, note=f"not confirmed: {fact.text}")
            facts.append(fact.key)
        typed = ""
        if form.typed_word:
            self._console.print(Text(f'  Type the word "{form.typed_word}" to state this.'))
            typed = self._line()
        if not self._name:
            self._console.print("  Who states this? (name or initials)")
            self._name = self._line()
        return Answer(Choice.STATE, tuple(facts), typed, self._name)


def _words(choice: Choice, prompt: Prompt) -> str:
    """A choice in words; going on drives something only where something is driven."""
    if choice is Choice.DRIVE and prompt.kind is PromptKind.WIGGLE:
        return "watch it now"
    if choice is Choice.DRIVE and prompt.channel is None:
        return "go on"
    return CHOICE_TEXT[choice]
