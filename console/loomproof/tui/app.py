"""The application: how it starts and ends, its pages and the stop."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any, ClassVar

from textual import work
from textual.binding import Binding
from textual.screen import Screen

from loomproof.tui.app_state import AppState, JobChooser
from loomproof.tui.desk.protocol import Desk, LoomHands, MakeDesk, Starter, StartRefusedError
from loomproof.tui.garbage import Sweeper
from loomproof.tui.page_table import JOB, PAGES, SHEET, START, STARTING, help_screen, modes, offered
from loomproof.tui.pages.welcome import WELCOME, WELCOME_BROWSER
from loomproof.tui.palette import NowCommands
from loomproof.tui.settings import SettingsKeeper
from loomproof.tui.terminal.browser import BrowserDriver
from loomproof.tui.terminal.stop_key import Guards, StopKeyDriver
from loomproof.tui.theme import THEMES

CALL_IN_S = 0.1
DRAWN_AT_LATEST_S = 1.0
STOP_TOLD_S = 4.0
"""How long a stop stays written over the page; pressing on in that time does not write it again."""


class Console(AppState):
    """The Loomproof console.

    With `reading` it stands in a browser: nothing is driven from it.
    """

    TITLE = "Loomproof"
    COMMANDS = {NowCommands}
    MODES: ClassVar[dict[str, str | Callable[[], Screen[Any]]]] = {**modes()}
    DEFAULT_MODE = SHEET
    BINDINGS = [
        Binding("ctrl+x,f12,ctrl+c", "stop", "Stop", priority=True, show=False, id="stop"),
        Binding("ctrl+r", "clear_stop", "Clear stop", priority=True),
        Binding("question_mark,f1", "page_help", "Help", show=False),
        Binding("ctrl+p", "command_palette", "Commands", priority=True),
        Binding("ctrl+q", "quit", "Leave", priority=True),
        Binding("ctrl+l", "large_text", "Large text", priority=True, show=False),
        *(Binding(row.key, f"page('{row.name}')", row.label, show=False) for row in PAGES),
        *(
            Binding(f"f{index + 2}", f"page('{row.name}')", row.label, show=False, priority=True)
            for index, row in enumerate(PAGES)
        ),
    ]

    def __init__(
        self,
        desk: Desk | MakeDesk | None = None,
        *,
        hands: LoomHands | None = None,
        welcome: bool = False,
        who: str = "",
        settings: SettingsKeeper | None = None,
        starter: Starter | None = None,
        making: bool = False,
        job_path: Path | None = None,
        reading: bool = False,
    ) -> None:
        if desk is None and starter is None:
            raise ValueError("a console needs a desk, or a starter that makes one")
        self._make_desk: MakeDesk | None = desk if callable(desk) else None
        if desk is None or callable(desk):
            start = JOB if making else START
            self.DEFAULT_MODE = STARTING if desk else start  # type: ignore[misc] # of this one console
        super().__init__(
            None if callable(desk) else desk,
            settings=settings,
            who=who,
            reading=reading,
            driver_class=BrowserDriver if reading else StopKeyDriver,
        )
        self.starter = starter
        self.making_path = None if job_path is None else job_path.resolve()
        self.making_page = None
        self.hands = hands
        self._welcome = welcome
        self._guards: Guards | None = None
        self._sweeper = Sweeper()
        self._stop_told_s = -STOP_TOLD_S
        self.console_themes = tuple(theme.name for theme in THEMES)
        for theme in THEMES:
            self.register_theme(theme)
        kept = self.settings.now.theme
        self.theme = kept if kept in self.console_themes else THEMES[0].name

    # --- life ------------------------------------------------------------------------------------------

    def on_ready(self) -> None:
        """Hook the ways out (here, because the driver sets its own hooks first), then start the desk."""
        if not self.is_headless and threading.current_thread() is threading.main_thread():
            self._guards = Guards(self)
            self._guards.install()
            self._sweeper.begin()
        if self._make_desk is not None:
            self._once_drawn(partial(self._start, self._make_desk))
        elif self._desk is not None:
            self._begin()

    def open_job(self, job: str, box: str) -> None:
        """Open a job on a box, both chosen on the start page."""
        if self.starter is not None:
            make, self.hands = self.starter.open(job, box)
            self.making_path = Path(job).resolve()
            self._open(make)

    def open_practice(self) -> None:
        """Open the practice loom."""
        if self.starter is not None:
            make, self.hands = self.starter.practice()
            self._welcome = True
            self._open(make)

    @work(exclusive=True, group="open")
    async def _open(self, make: MakeDesk) -> None:
        await self.switch_mode(STARTING)
        self._once_drawn(partial(self._start, make))

    def _once_drawn(self, what: Callable[[], object]) -> None:
        """Do something when the screen is drawn, and within a second in any case.

        What waits for a screen's refresh is lost when that screen is taken away first (a welcome closed at once).
        """
        done: list[bool] = []

        def do() -> None:
            if not done:
                done.append(True)
                what()

        self.call_after_refresh(do)
        self.set_timer(DRAWN_AT_LATEST_S, do)

    @work(thread=True, exit_on_error=True)
    def _start(self, make: MakeDesk) -> None:
        """Make the desk, in a thread: what it imports takes longer than a first picture should."""
        try:
            desk = make()
        except StartRefusedError as refused:
            self.call_from_thread(self._refused, refused)  # type: ignore[arg-type, unused-ignore]
        else:
            self.call_from_thread(self._started, desk)  # type: ignore[arg-type, unused-ignore]

    async def _refused(self, refused: StartRefusedError) -> None:
        """Go back to the start page with what is wrong, or leave with it when the job was named by a command."""
        if self.starter is None:
            self.exit(return_code=refused.code, message=str(refused))
            return
        await self.switch_mode(START)
        if isinstance(self.screen, JobChooser):
            self.screen.show_problem(str(refused))

    async def _started(self, desk: Desk) -> None:
        self._desk = desk
        await self.switch_mode(SHEET)
        self._begin()

    def _begin(self) -> None:
        self.set_interval(CALL_IN_S, self._call_in)
        if self._welcome:
            self.push_screen(help_screen(WELCOME_BROWSER if self.reading else WELCOME))
        # Connect only once the page stands: drawing it may take longer than the heartbeat allows.
        self._once_drawn(partial(self.desk.begin, self.post_message))

    def _call_in(self) -> None:
        self.desk.call_in()
        self._sweeper.tick(working=self.progress.running)

    def stop_now(self) -> None:
        """Every output off, from any thread, without the event loop."""
        with suppress(Exception):
            self.desk.stop_now()

    def leave_soon(self, why: str) -> None:
        """End the program from any thread."""
        loop = self._loop
        if loop is not None and loop.is_running():
            with suppress(RuntimeError):
                loop.call_soon_threadsafe(lambda: self.exit(return_code=4, message=f"Stopped: {why}."))

    def close_down(self) -> None:
        """Stop and close. Called after the loop has ended, however it ended."""
        self.stop_now()
        with suppress(Exception):
            self.desk.close()
        self._sweeper.end()
        if self._guards is not None:
            self._guards.remove()

    # --- actions ---------------------------------------------------------------------------------------

    async def action_stop(self) -> None:
        """Stop. The driver has done it already when a key was pressed; doing it again does no harm."""
        self.stop_now()
        now_s = time.monotonic()
        if self._desk is None or now_s - self._stop_told_s < STOP_TOLD_S:
            return
        self._stop_told_s = now_s
        self.notify(
            "Every output is off. Find out why before you clear the stop (Ctrl+R).",
            title="STOP",
            severity="warning",
            timeout=STOP_TOLD_S,
        )

    def action_clear_stop(self) -> None:
        """Clear the stop."""
        if self.panel.stopped:
            self.desk.clear_stop()

    def action_reconnect(self) -> None:
        """Open the link anew."""
        self.desk.reconnect()

    async def make_job(self) -> None:
        """Go to the page on which a job is made, from the start page."""
        await self.switch_mode(JOB)

    async def leave_making(self, job: Path | None = None) -> None:
        """Go back to the start page, with a job to be proven."""
        if self.starter is None:
            return
        await self.switch_mode(START)
        if job is not None and isinstance(self.screen, JobChooser):
            self.screen.offer(str(job))

    async def action_quit(self) -> None:
        """Stop, then leave; unsaved changes of a job are asked about first."""
        self.stop_now()
        page = self.making_page
        if page is None or not page.unsaved:
            self.exit()
            return
        if self.current_mode != JOB:
            await self.switch_mode(JOB)
        page.ask_leave(self.exit)

    async def action_page(self, name: str) -> None:
        """Go to a page, unless a question stands before it."""
        there = [row.name for row in offered(hands=self.hands is not None, reading=self.reading)]
        if self._desk is None or self.screen.is_modal or name not in there:
            return
        await self.switch_mode(name)

    def action_page_help(self) -> None:
        """Show the help of the page."""
        text = self.screen.HELP
        if text is not None and not self.screen.is_modal:
            self.push_screen(help_screen(text))

    def action_large_text(self) -> None:
        """Show the run sheet in letters to be read from afar, or in the usual ones; kept for next time."""
        self.large_text = not self.large_text
        self.settings.change(large_text=self.large_text)

    def action_use_theme(self, name: str) -> None:
        """Use another theme, now and next time."""
        self.theme = name
        self.settings.change(theme=name)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Clearing a stop is offered only while there is one."""
        if action == "clear_stop":
            return self.panel.stopped
        return super().check_action(action, parameters)


def run_console(console: Console) -> int:
    """Run the console, and stop the box however it ends. Returns the exit code."""
    try:
        console.run()
    finally:
        console.close_down()
    return console.return_code or 0
