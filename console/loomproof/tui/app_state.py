"""The application's state, which the pages follow, and what it does with the messages of the desk."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, Protocol, runtime_checkable

from textual import on, work
from textual.app import App
from textual.reactive import var

from loomproof.facts.kinds import HazardClass
from loomproof.tui import messages
from loomproof.tui.desk.protocol import Desk, LoomHands, Reply, Starter
from loomproof.tui.messages import Progress
from loomproof.tui.page_table import SHEET
from loomproof.tui.pages.questions import AskReason, StatementScreen
from loomproof.tui.pages.walk.view import WalkView
from loomproof.tui.pages.wiggle.view import WiggleView
from loomproof.tui.settings import SettingsKeeper
from loomproof.tui.sounds import BELL_S, Sound, SoundKind, Sounds, kind_of
from loomproof.tui.views.panel import LinkState, PanelView
from loomproof.tui.views.prompt import PromptView
from loomproof.tui.views.trace import TraceView


class UnsavedWork(Protocol):
    """A page that may hold a file which is not saved yet."""

    @property
    def unsaved(self) -> bool:
        """Whether it does."""
        ...

    def ask_leave(self, then: Callable[[], object]) -> None:
        """Ask what is to become of it, then do something, unless the answer is to stay."""
        ...


@runtime_checkable
class JobChooser(Protocol):
    """A page on which a job and a box are chosen."""

    def show_problem(self, problem: str) -> None:
        """Show why the job that was chosen cannot be opened."""
        ...

    def offer(self, path: str) -> None:
        """Go on with a job that was just made; the box is still to be chosen."""
        ...


class AppState(App[int]):
    """An application that takes in what the desk posts and answers what it asks.

    Its state is `var`, not `reactive`: what a page shows of it redraws itself, and not the whole screen each time.

    Args:
        desk: the work behind the pages, if there is one already.
        settings: what is remembered of this operator.
        who: the operator's name or initials.
        reading: it stands in a browser, and nothing is driven from it.
        more: as the base class takes them.
    """

    panel: var[PanelView] = var(PanelView(), init=False)
    progress: var[Progress] = var(Progress(), init=False)
    prompt: var[PromptView | None] = var(None, init=False)
    trace: var[TraceView] = var(TraceView(), init=False)
    bench_channel: var[int] = var(0, init=False)
    drive_said: var[str] = var("", init=False)
    large_text: var[bool] = var(False, init=False)
    walk: var[WalkView] = var(WalkView(), init=False)
    wiggle: var[WiggleView] = var(WiggleView(), init=False)
    sound_means: var[str] = var("", init=False)
    hands: LoomHands | None
    starter: Starter | None
    making_path: Path | None
    making_page: UnsavedWork | None
    console_themes: tuple[str, ...]

    def __init__(
        self,
        desk: Desk | None,
        *,
        settings: SettingsKeeper | None,
        who: str,
        reading: bool,
        **more: Any,  # noqa: ANN401 - as the base class takes them
    ) -> None:
        self._desk = desk
        self.reading = reading
        super().__init__(**more)
        self.settings = settings or SettingsKeeper()
        self.who = who or self.settings.now.who
        self.sounds = Sounds(self._ring, kind_of(self.settings.now))
        self.set_reactive(AppState.sound_means, self.sounds.means.value)
        self.set_reactive(AppState.panel, PanelView(reading=reading))
        self.set_reactive(AppState.large_text, self.settings.now.large_text)

    def open_job(self, job: str, box: str) -> None:
        """Open a job on a box."""
        raise NotImplementedError

    def open_practice(self) -> None:
        """Open the practice loom."""
        raise NotImplementedError

    async def make_job(self) -> None:
        """Go to the page on which a job is made."""
        raise NotImplementedError

    async def leave_making(self, job: Path | None = None) -> None:
        """Go back to the start page, with a job to be proven."""
        raise NotImplementedError

    @property
    def has_desk(self) -> bool:
        """Whether a job is open on a box."""
        return self._desk is not None

    @property
    def desk(self) -> Desk:
        """The work behind the pages. Raises RuntimeError while it is still being made."""
        if self._desk is None:
            raise RuntimeError("the console is still starting: there is no desk yet")
        return self._desk

    @property
    def link_lost(self) -> bool:
        """Whether the box no longer answers."""
        return self.panel.link is LinkState.LOST

    @on(messages.PanelChanged)
    def _panel_changed(self, message: messages.PanelChanged) -> None:

        waiting = self.prompt.title if self.prompt is not None and self.current_mode != SHEET else ""
        stopped_before = self.panel.stopped
        channels = self.progress.channels
        fuel = not channels or any(channel.hazard == HazardClass.FUEL for channel in channels)
        self.panel = replace(message.view, waiting=waiting, reading=self.reading, fuel=fuel)
        if self.panel.stopped != stopped_before:
            self.refresh_bindings()

    @on(messages.Progressed)
    def _progressed(self, message: messages.Progressed) -> None:
        self.progress = message.progress

    @on(messages.TraceCaptured)
    def _trace_captured(self, message: messages.TraceCaptured) -> None:
        self.trace = message.trace

    @on(messages.BenchDriveEnded)
    def _drive_finished(self, message: messages.BenchDriveEnded) -> None:
        self.drive_said = f"{'✓' if message.ok else '✗'} {message.text}"

    @on(messages.WalkAdvanced)
    def _walk_advanced(self, message: messages.WalkAdvanced) -> None:
        self.walk = message.view
        for cue in message.view.cues:
            self.sounds.play(cue.sound, number=cue.number, role=cue.role, words=cue.words)

    @on(messages.WiggleAdvanced)
    def _wiggle_advanced(self, message: messages.WiggleAdvanced) -> None:
        self.wiggle = message.view
        if message.view.fresh:
            self.sounds.play(Sound.TICK)

    def _ring(self, times: int) -> None:
        for number in range(times):
            self.set_timer(BELL_S * number, self.bell) if number else self.bell()

    def change_sounds(self) -> None:
        """By the next means: bell, tones, voice, silence; remembered."""
        self.sounds.turn()
        self.sound_means = self.sounds.means.value
        self.settings.change(sounds=self.sounds.kind is not SoundKind.OFF, sound_kind=self.sounds.kind.value)

    @on(messages.BenchDriveAdvanced)
    def _drive_advanced(self, message: messages.BenchDriveAdvanced) -> None:
        self.drive_said = f"► {message.text}"

    @on(messages.Announced)
    def _announced(self, message: messages.Announced) -> None:
        severity = (
            message.severity if message.severity in ("information", "warning", "error") else "information"
        )
        self.notify(message.text, title=message.title, severity=severity, timeout=6, markup=False)  # type: ignore[arg-type]

    @on(messages.PromptRaised)
    def _prompt_raised(self, message: messages.PromptRaised) -> None:
        self.prompt = message.prompt
        if not self.screen_stack:  # a question that crossed with leaving
            return
        screen = self.screen
        if isinstance(screen, StatementScreen) and (
            message.prompt is None or message.prompt.id != screen.prompt.id
        ):
            self.pop_screen()
        if message.prompt is not None and message.prompt.facts:
            self._ask_statement(message.prompt)
        self.bell()

    @work(exclusive=True, group="statement")
    async def _ask_statement(self, prompt: PromptView) -> None:
        reply = await self.push_screen_wait(StatementScreen(prompt, self.who))
        if reply is not None:
            self.who = reply.who
        elif prompt.choices:
            reply = Reply(prompt.choices[-1].value)
        if reply is not None:
            self._give(prompt, reply)

    def answer(self, prompt: PromptView, value: str) -> None:
        """Answer a question; a choice that needs a reason asks for it first."""
        choice = next(c for c in prompt.choices if c.value == value)
        if not choice.needs_reason:
            self._give(prompt, Reply(value, who=self.who))
            return

        def give(reason: str | None) -> None:
            if reason:
                self._give(prompt, Reply(value, who=self.who, note=reason))

        self.push_screen(AskReason(f"{choice.label}: {prompt.title}"), give)

    def _give(self, prompt: PromptView, reply: Reply) -> None:
        if self.prompt is prompt:
            self.prompt = None
        self.desk.answer(prompt, reply)


def state_of(app: App[Any]) -> AppState:
    """Return the application of a screen as the console's own.

    Raises:
        TypeError: It is another application.
    """
    if not isinstance(app, AppState):
        raise TypeError(f"a page of the console stands in another application: {type(app).__name__}")
    return app
