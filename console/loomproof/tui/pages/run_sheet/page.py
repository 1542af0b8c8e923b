"""The run-sheet page: the steps, the one at hand with what will happen, the question and its answers."""

from __future__ import annotations

from collections.abc import Mapping

from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal
from textual.widgets import Button

from loomproof.tui.messages import Progress
from loomproof.tui.pages.frame import Deck, Page, Pane, pane_tabs
from loomproof.tui.pages.questions import AskReason
from loomproof.tui.pages.run_sheet.step_card import NO_CHANNEL, RUN_CHOICES, StepCard
from loomproof.tui.pages.run_sheet.view import StepView
from loomproof.tui.pages.run_sheet.words import afar, just_ended, step_row, steps_title
from loomproof.tui.views.panel import LinkState
from loomproof.tui.widgets.bigtext import BigText
from loomproof.tui.widgets.engine import EnginePicture
from loomproof.tui.widgets.keys import KeyButton
from loomproof.tui.widgets.row_list import RowList
from loomproof.tui.widgets.waveform import Waveform

STOPPED = "The box is stopped. Find out why, then clear it with Ctrl+R and run the step again."
SWITCH_OPEN = "The box's stop switch is open. Find out why, close it, clear the stop with Ctrl+R and run the step again."
NOT_YET = "The box is being opened. The steps appear once it has answered."
NO_STEPS = {
    LinkState.NONE: NOT_YET,
    LinkState.CONNECTING: NOT_YET,
    LinkState.LOST: "The box does not answer, so there are no steps yet. Nothing is driven.\n"
    "Look at its port (`loomproof boxes` lists what answers), cable and supply; "
    'then Ctrl+P, "Connect to the box again".',
}
TICK_S = 0.5


class SheetPage(Page):
    """Job and run sheet."""

    NAME = "sheet"
    BINDINGS = [
        Binding("g", "go", "Run the step shown", show=False),
        Binding("o", "run_on", "Run on from here", show=False),
        Binding("k", "skip", "Skip the step shown", show=False),
        Binding("n", "newest", "Step at hand", tooltip="Back to the step that is next"),
    ]
    HELP = """\
# Run sheet

The steps of this job in a safe order: first looks that move nothing, then harmless loads, sparks while the
cylinders are dry, fuel last.

* **g** runs the step that is shown; on a step that was run before it repeats it.
* **o** runs on from the next open step; the console stops for you at every question.
* **k** skips a step. You are asked for a reason, and the record keeps it.
* **up**, **down** look through the steps. Looking changes nothing; **n** comes back to the step at hand.
* **v** shows the next pane where the screen is too small for all of them.

When a question is shown, its answers stand below it with the key that gives each; a click does the same.
A pull check watches by itself: pull the connector you are asked for; the box sees which channel lost its
load.
"""

    def compose_body(self) -> ComposeResult:
        """Lay out the panes."""
        with Deck(id="sheet-deck"):
            with Horizontal(classes="pane-line"):
                yield from pane_tabs("Step at hand", "All steps", "Trace", "Engine")
            with Pane(title="Step at hand", id="pane-step"):
                yield StepCard()
            with Pane(title="All steps", id="pane-steps"):
                yield RowList(id="steps")
            with Pane(title="Trace", id="pane-trace"):
                yield Waveform(id="sheet-trace")
            with Pane(title="Engine", id="pane-engine"):
                yield EnginePicture()

    def on_mount(self) -> None:
        """Follow steps, questions, traces and the engine."""
        super().on_mount()
        for name in ("progress", "prompt"):
            self.follow(name, self._show_steps)
        self.follow("panel", self._show_none)
        self.follow("trace", self._show_trace)
        for name in ("large_text", "panel"):
            self.follow(name, self._show_afar)
        self.query_one("#steps", RowList).focus()
        self.set_interval(TICK_S, self._tick)

    async def _show_none(self) -> None:
        """While there is no step, say why: the box may be what is missing."""
        if not self.console_app.progress.steps:
            await self._show_card()

    def _tick(self) -> None:
        app = self.console_app
        if app.progress.running and app.prompt is None and self.is_current:
            self.query_one(StepCard).tick(self.shown_step())

    def _show_trace(self) -> None:
        self.query_one(Waveform).view = self.console_app.trace

    def shown_step(self) -> StepView | None:
        """Return the step the cursor is on, or the one that is asked about."""
        progress = self.console_app.progress
        asking = self.console_app.prompt is not None
        key = progress.current if asking else self.query_one("#steps", RowList).key
        return next((step for step in progress.steps if step.id == key), None)

    async def _show_steps(self) -> None:
        app = self.console_app
        progress = app.progress
        rows = self.query_one("#steps", RowList)
        rows.show([step_row(step, step.id == progress.current) for step in progress.steps])
        self.query_one("#pane-steps", Pane).border_title = steps_title(progress)
        began = progress.running and not self._was_running
        self._was_running = progress.running
        self._note_ended(progress)
        if progress.current and (began or progress.current != self._last_current):
            self._last_current = progress.current
            rows.go_to(progress.current)
        self.query_one(EnginePicture).view = progress.engine
        await self._show_card()

    _last_current: str | None = None
    _last_prompt: str | None = None
    _was_running = False
    _known: Mapping[str, tuple[int, str]] | None = None
    """Attempts and outcome of each step as they were last shown."""
    _ended: str | None = None
    """The step that ended last while this page looked on."""

    def _note_ended(self, progress: Progress) -> None:
        """Remember which step has just ended: the next one does not say."""
        known = {step.id: (step.attempts, step.outcome) for step in progress.steps}
        if self._known:
            new = [k for k, seen in known.items() if seen[1] and self._known.get(k, seen) != seen]
            self._ended = new[-1] if new else self._ended
        self._known = known

    def _before(self, shown: StepView | None) -> str:
        """Return what came of the step that has just ended, on the card of the one at hand; else nothing."""
        progress = self.console_app.progress
        if shown is None or shown.id != progress.current or shown.id == self._ended:
            return ""
        ended = next((step for step in progress.steps if step.id == self._ended), None)
        return just_ended(ended, progress.channels) if ended is not None else ""

    async def _show_card(self) -> None:
        app = self.console_app
        progress = app.progress
        step = self.shown_step()
        total, before = len(progress.steps), self._before(step)
        self.query_one(StepCard).why_none = NO_STEPS.get(app.panel.link, NO_CHANNEL)
        await self.query_one(StepCard).show(step, app.prompt, total, progress.running, before)
        if app.prompt is not None and app.prompt.id != self._last_prompt:
            self.query_one(Deck).bring("pane-step")
        self._last_prompt = app.prompt.id if app.prompt is not None else None
        self._show_afar()
        self.bindings_depend_on((app.prompt is None, progress.running))

    def _show_afar(self) -> None:
        app = self.console_app
        self.set_class(app.large_text, "-large")
        big = self.query_one("#step-afar", BigText)
        big.display = app.large_text
        if app.large_text:
            big.text, big.tone = afar(
                self.shown_step(), app.prompt, running=app.progress.running, stopped=app.panel.stopped
            )

    @on(RowList.Highlighted, "#steps")
    async def _moved(self) -> None:
        await self._show_card()

    @on(RowList.Chosen, "#steps")
    def _chosen(self) -> None:
        self.query_one(Deck).bring("pane-step")

    @on(Button.Pressed, "Answers Button")
    async def _pressed(self, event: Button.Pressed) -> None:
        event.stop()
        if isinstance(event.button, KeyButton):
            await self._answer(event.button.key_text)

    async def on_key(self, event: events.Key) -> None:
        """Give the answer whose key was pressed, before any binding of the page gets it.

        A question that another pane hides is shown first: what was not read is not answered.
        """
        prompt = self.console_app.prompt
        if prompt is None or prompt.facts:
            return
        if any(choice.key == event.key for choice in prompt.choices):
            event.stop()
            event.prevent_default()
            if self._step_is_hidden():
                self.query_one(Deck).bring("pane-step")
            else:
                await self._answer(event.key)

    def _step_is_hidden(self) -> bool:
        large = self.console_app.large_text
        return self.folded and not large and not self.query_one("#pane-step", Pane).has_class("-front")

    async def _answer(self, key: str) -> None:
        prompt = self.console_app.prompt
        choices = prompt.choices if prompt is not None else RUN_CHOICES
        choice = next((choice for choice in choices if choice.key == key), None)
        if choice is None:
            return
        if prompt is None:
            await self.run_action(choice.value)
        else:
            self.console_app.answer(prompt, choice.value)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Running a step is possible only while nothing runs and nothing is asked."""
        if action in ("go", "run_on", "skip"):
            app = self.console_app
            return not (app.progress.running or app.prompt is not None)
        return super().check_action(action, parameters)

    def action_go(self) -> None:
        """Run the shown step."""
        step = self.shown_step()
        if step is not None and not self._refused_by_stop():
            self.query_one(Deck).bring("pane-step")
            self.console_app.desk.run_step(step.id)

    def action_run_on(self) -> None:
        """Run on."""
        if not self._refused_by_stop():
            self.query_one(Deck).bring("pane-step")
            self.console_app.desk.run_on()

    def _refused_by_stop(self) -> bool:
        """Say that a stop has to be cleared before anything is run; True while there is one."""
        panel = self.console_app.panel
        if panel.stopped:
            self.notify(
                SWITCH_OPEN if panel.stop_input_open else STOPPED, title="Not run", severity="warning"
            )
        return panel.stopped

    def action_skip(self) -> None:
        """Ask for a reason, then skip."""
        step = self.shown_step()
        if step is None:
            return

        def skip(reason: str | None) -> None:
            if reason:
                self.console_app.desk.skip(step.id, reason)

        self.app.push_screen(AskReason(f"Skip step {step.number}: {step.title}"), skip)

    def action_newest(self) -> None:
        """Go to the step at hand."""
        current = self.console_app.progress.current
        if current:
            self.query_one("#steps", RowList).go_to(current)
            self.query_one(Deck).bring("pane-step")
