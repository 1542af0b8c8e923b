"""The operator as the session sees one: prompts go to the screen, answers come back through a queue."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable

from loomproof.procedure.prompts import Answer, Choice, Prompt


class TuiOperator:
    """Implements `procedure.prompts.Operator`. The session's thread waits here; the interface never does.

    `raise_prompt` is called with a prompt to show, or None to take it away; it must only post a message.
    """

    def __init__(self, name: str, raise_prompt: Callable[[Prompt | None], None]) -> None:
        self._name = name
        self._raise = raise_prompt
        self._answers: queue.Queue[tuple[int, Answer]] = queue.Queue()
        self._lock = threading.Lock()
        self._waiting: int | None = None
        self._closed = False

    @property
    def name(self) -> str:
        """Name or initials; the newest one that was typed."""
        return self._name

    def give(self, number: int, answer: Answer) -> None:
        """Hand in an answer, from the interface's thread. One that nobody waits for any more is dropped."""
        if answer.who:
            self._name = answer.who
        self._answers.put((number, answer))

    def answer(self, prompt: Prompt) -> Answer:
        """Show the prompt and wait for its answer, or for `cancel`."""
        with self._lock:
            if self._closed:
                return Answer(Choice.LEAVE)
            self._waiting = prompt.number
        self._raise(prompt)
        try:
            while True:
                number, answer = self._answers.get()
                if number == prompt.number:
                    return answer
        finally:
            with self._lock:
                self._waiting = None
            self._raise(None)

    def show(self, prompt: Prompt) -> None:
        """Show a prompt without waiting."""
        self._raise(prompt)

    def poll(self, prompt: Prompt) -> Answer | None:
        """Return the answer to a shown prompt if it is there."""
        if self._closed:
            return Answer(Choice.LEAVE)
        while True:
            try:
                number, answer = self._answers.get_nowait()
            except queue.Empty:
                return None
            if number == prompt.number:
                return answer

    def withdraw(self, prompt: Prompt) -> None:
        """Take the prompt away."""
        self._raise(None)

    def cancel(self) -> None:
        """End a waiting `answer` with `leave`; any thread."""
        with self._lock:
            waiting = self._waiting
        if waiting is not None:
            self._answers.put((waiting, Answer(Choice.LEAVE)))

    def close(self) -> None:
        """End whatever waits and leave every later prompt: the console is going away."""
        with self._lock:
            self._closed = True
        self.cancel()
