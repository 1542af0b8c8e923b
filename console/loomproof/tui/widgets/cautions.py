"""Cautions with their signal words as ANSI Z535.6 sets them: symbol and word first, then the text."""

from __future__ import annotations

from collections.abc import Sequence

from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.widgets import Static

from loomproof.tui.views.prompt import CautionView
from loomproof.tui.words import SIGNAL_WORDS


class CautionLine(Horizontal):
    """One caution: the signal word in its panel, then what it is about."""

    def __init__(self, caution: CautionView) -> None:
        super().__init__()
        self.caution = caution

    def compose(self) -> ComposeResult:
        """Lay out the word and the text."""
        word = SIGNAL_WORDS.get(self.caution.signal.upper(), SIGNAL_WORDS["NOTICE"])
        face = f"{word.symbol} {word.word}".strip().center(12)
        yield Static(face, classes=f"signal -{word.word.lower()}")
        yield Static(self.caution.text, classes="caution-text", markup=False)


class Cautions(Vertical):
    """Every caution that holds where it stands; gone when there is none."""

    def __init__(self, cautions: Sequence[CautionView] = (), *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._cautions = tuple(cautions)

    def compose(self) -> ComposeResult:
        """Lay out one line each."""
        yield from (CautionLine(caution) for caution in self._cautions)

    async def show(self, cautions: Sequence[CautionView]) -> None:
        """Replace the cautions."""
        fresh = tuple(cautions)
        if fresh == self._cautions:
            return
        self._cautions = fresh
        await self.recompose()
