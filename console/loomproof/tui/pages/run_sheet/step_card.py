"""One step of the run sheet as a card: what will happen, cautions, the question and its answers."""

from __future__ import annotations

from time import monotonic

from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.widgets import Static

from loomproof.facts.step import StepKind
from loomproof.tui.pages.run_sheet.view import StepView
from loomproof.tui.pages.run_sheet.words import outcome_line, question, working_text
from loomproof.tui.views.prompt import ChoiceView, PromptView
from loomproof.tui.widgets.bigtext import BigText
from loomproof.tui.widgets.cautions import Cautions
from loomproof.tui.widgets.keys import KeyButton
from loomproof.tui.words import StepState

NO_CHANNEL = "No steps. This job has no fitted channel to prove."
BENDING = "Bend and tug the loom now"
RUN_CHOICES = (
    ChoiceView("g", "Run this step", "screen.go"),
    ChoiceView("o", "Run on", "screen.run_on"),
    ChoiceView("k", "Skip it", "screen.skip"),
)


class Answers(Horizontal):
    """The answers of the question at hand as buttons with their keys."""

    choices: tuple[ChoiceView, ...] = ()

    async def show(self, choices: tuple[ChoiceView, ...]) -> None:
        """Replace the buttons."""
        if choices == self.choices:
            return
        self.choices = choices
        await self.recompose()

    def compose(self) -> ComposeResult:
        """Lay out one button each."""
        for choice in self.choices:
            yield KeyButton(choice.key, choice.label, id=f"answer-{choice.key}")


class StepCard(Vertical):
    """One step in words: what will happen, cautions, what was measured, the question, the answers."""

    def compose(self) -> ComposeResult:
        """Lay out the parts; empty ones take no room."""
        yield BigText(id="step-afar")
        with VerticalScroll(id="step-text", can_focus=False):
            yield Static(id="step-before", markup=False)
            yield Static(id="step-title", markup=False)
            yield Static(id="step-what", markup=False)
            yield Static(id="step-drive", markup=False)
            yield Cautions(id="step-cautions")
            yield Static(id="step-outcome", markup=False)
        yield Static(id="step-question", markup=False)
        yield Answers(id="step-answers")

    async def show(
        self,
        step: StepView | None,
        prompt: PromptView | None,
        total: int,
        running: bool,
        before: str = "",
    ) -> None:
        """Show a step, and the question that belongs to it; first what came of the step before it.

        Args:
            step: the step; None: there is none to show.
            prompt: the question that waits, if one does.
            total: how many steps the sheet has.
            running: a step is being worked on.
            before: what came of the step before, in words; empty: nothing to say.
        """
        self._write("step-before", before)
        if step is None:
            self._write("step-title", self.why_none)
            await self.query_one(Answers).show(())
            return
        self._write("step-title", f"Step {step.number} of {total}: {step.title}")
        self._write("step-what", "" if prompt is not None and prompt.says_what else step.what)
        self._write("step-drive", f"Drive: {step.drive}" if step.drive else "")
        self._write("step-outcome", outcome_line(step))
        await self.query_one(Cautions).show(prompt.cautions if prompt and prompt.cautions else step.cautions)
        await self._ask(step, prompt, running)

    why_none = NO_CHANNEL
    """Why there is no step to show."""
    _began = 0.0
    """When the box began to work on the step that is shown; 0: it does not."""
    _asked = ""
    """The step that asked last."""

    def tick(self, step: StepView | None) -> None:
        """Say how far the work is, if it is known how long it takes."""
        if step is None or not self._began:
            return
        doing = BENDING if step.kind == StepKind.WIGGLE and self._asked == step.id else "Working"
        self._write("step-question", working_text(step.busy_s, monotonic() - self._began, doing))

    async def _ask(self, step: StepView, prompt: PromptView | None, running: bool) -> None:
        answers = self.query_one(Answers)
        if prompt is not None or not running:
            self._began = 0.0
        if prompt is not None:
            self._asked = step.id
        if prompt is not None and not prompt.facts:
            self._write("step-question", f"? {question(prompt, step)}")
            await answers.show(prompt.choices)
        elif prompt is not None:
            self._write("step-question", "? Waiting for your statement.")
            await answers.show(())
        elif running:
            self._began = self._began or (monotonic() if step.state == StepState.RUNNING else 0.0)
            self._write("step-question", "" if self._began else "► Another step is running: n shows it.")
            self.tick(step)
            await answers.show(())
        else:
            self._write("step-question", "")
            await answers.show(RUN_CHOICES)

    def _write(self, name: str, text: str) -> None:
        widget = self.query_one(f"#{name}", Static)
        widget.update(text)
        widget.display = bool(text)
