"""What every page shares: the page line, the folding of panes on small screens, keys and the status bar."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from inspect import isawaitable
from pathlib import Path, PurePath
from typing import ClassVar

from textual import events
from textual.app import ComposeResult, ScreenError
from textual.binding import Binding
from textual.containers import Container, Horizontal, Vertical
from textual.geometry import Size
from textual.reactive import reactive
from textual.screen import Screen
from textual.widgets import Button, Footer, Static, TextArea

from loomproof.tui.app_state import AppState, state_of
from loomproof.tui.page_table import JOB, PAGES, PageRow, offered
from loomproof.tui.widgets.status import StatusBar

STYLES = Path(__file__).parent
STYLE_SHEETS = ("frame", "questions", *(f"{row.folder}/page" for row in PAGES if row.name != JOB))
"""Of every page; the job page adds its own."""
FOLD_WIDTH = 110
FOLD_HEIGHT = 32
LEAST = Size(80, 24)
"""The smallest screen on which nothing is cut."""
TALL_HEIGHT = 48
"""From here on a narrow screen, such as a tablet's on end, has room for panes below each other."""
TOUCH_HEIGHT = 30
"""From here on there is room for keys that a finger hits."""


class PageButton(Button):
    """A button exactly as wide as its label: the page line is short of room."""

    def __init__(self, action: str) -> None:
        super().__init__("", action=action, compact=True)
        self.styles.line_pad = 0  # the style sheet does not take a 0 here
        self.can_focus = False

    def get_content_width(self, container: Size, viewport: Size) -> int:
        """Return the label's width; the base class adds two cells."""
        return super().get_content_width(container, viewport) - 2


class PageLine(Horizontal):
    """The pages with their keys, the present one marked; the job's title where there is room."""

    def __init__(self, current: str, title: str, *, with_hands: bool, reading: bool = False) -> None:
        super().__init__()
        self._reading = reading
        self._current = current
        self._title = title
        self._with_hands = with_hands

    def compose(self) -> ComposeResult:
        """Lay out one button a page."""
        for row in self._pages():
            button = PageButton(f"app.page('{row.name}')")
            button.set_class(row.name == self._current, "-here")
            yield button
        yield PageButton("app.page_help")
        yield Static(self._title, classes="job-title", markup=False)

    def on_mount(self) -> None:
        """Write the labels."""
        self._face(short=True)

    def _pages(self) -> list[PageRow]:
        return offered(hands=self._with_hands, reading=self._reading)

    def on_resize(self, event: events.Resize) -> None:
        """Write short labels where the full ones would run over the edge."""
        full = sum(len(f"{row.key} {row.label} ") for row in self._pages())
        self._face(short=full + len("▸? Help") > event.size.width)

    def _face(self, *, short: bool) -> None:
        buttons = list(self.query(Button))
        for button, row in zip(buttons, self._pages(), strict=False):
            mark = "▸" if row.name == self._current else ""
            button.label = f"{mark}{row.key} {(short and row.short_label) or row.label}"
            button.refresh(layout=True)  # a label alone keeps the width of the one before
        if buttons:
            buttons[-1].label = "?" if short else "? Help"
            buttons[-1].refresh(layout=True)


class Pane(Vertical):
    """One part of a page. On a small screen a page shows one pane at a time."""

    def __init__(self, *, title: str, id: str) -> None:  # noqa: A002 - Textual's name
        super().__init__(id=id)
        self.border_title = title
        self.pane_title = title


class Deck(Container):
    """Panes side by side on a large screen, one at a time behind a line of tabs on a small one."""

    front: reactive[int] = reactive(0, init=False)

    def panes(self) -> list[Pane]:
        """Return the panes in order."""
        return list(self.query(Pane))

    def on_mount(self) -> None:
        """Show the first pane."""
        self._mark()

    def watch_front(self) -> None:
        """Show another pane."""
        self._mark()

    def bring(self, pane_id: str) -> None:
        """Bring one pane to the front."""
        ids = [pane.id for pane in self.panes()]
        if pane_id in ids:
            self.front = ids.index(pane_id)

    def turn(self) -> None:
        """Bring the next pane to the front and put the focus into it."""
        panes = self.panes()
        self.front = (self.front + 1) % len(panes)
        focusable = next((w for w in panes[self.front].query("*") if w.focusable), None)
        if isinstance(focusable, TextArea):
            self.screen.set_focus(None)  # the same key, pressed again, would be written into the text
        elif focusable is not None:
            focusable.focus()

    def _mark(self) -> None:
        for index, pane in enumerate(self.panes()):
            pane.set_class(index == self.front, "-front")
        for index, tab in enumerate(self.query(".pane-tab").results(Button)):
            title = self.panes()[index].pane_title
            tab.label = f"▸{title}" if index == self.front else f" {title}"
            tab.set_class(index == self.front, "-here")


def pane_tabs(*titles: str) -> Iterator[Button]:
    """Yield the tab buttons of a deck, one per pane, for its tab line."""
    for index, title in enumerate(titles):
        button = Button(f" {title}", action=f"screen.front({index})", compact=True, classes="pane-tab")
        button.can_focus = False
        yield button


class Page(Screen[None]):
    """A page of the console.

    The style sheets hang on the pages, not on the application: the first picture does not wait for them.
    """

    CSS_PATH: ClassVar[list[str | PurePath]] = [STYLES / f"{name}.tcss" for name in STYLE_SHEETS]
    BINDINGS = [Binding("v", "turn", "View", tooltip="Show the next pane of this page")]
    NAME = "page"
    HELP = ""
    STANDS_TALL = False
    """Whether the page shows all its panes on a narrow screen that is tall enough."""
    folded: reactive[bool] = reactive(False, init=False, bindings=True)

    @property
    def console_app(self) -> AppState:
        """The application, typed."""
        return state_of(self.app)

    def compose(self) -> ComposeResult:
        """Lay out the frame around the page's body."""
        app = self.console_app
        yield PageLine(self.NAME, app.desk.job.title, with_hands=app.hands is not None, reading=app.reading)
        yield Static(classes="too-small", markup=False)
        yield from self.compose_body()
        yield Footer(compact=True, show_command_palette=False)
        yield StatusBar()

    def compose_body(self) -> ComposeResult:
        """Lay out what is the page's own."""
        yield from ()

    def on_mount(self) -> None:
        """Follow the application's state."""
        self._missed: dict[Callable[[], object], None] = {}
        self._bindings_state: object = None
        self.follow("panel", self._show_panel)
        self.follow("wiggle", self._show_panel, init=False)
        self._fold(self.app.size.width, self.app.size.height)

    def _show_panel(self) -> None:
        panel, wiggle = self.console_app.panel, self.console_app.wiggle
        held = wiggle.running and wiggle.held and panel.driving_channel > 0
        self.query_one(StatusBar).view = replace(panel, held=held)

    def must_clear_first(self) -> bool:
        """Return whether the box is stopped; if it is, say so."""
        if not self.console_app.panel.stopped:
            return False
        self.notify(
            "Find out why, clear it (Ctrl+R), then begin.", title="The box is stopped", severity="warning"
        )
        return True

    def follow(self, name: str, show: Callable[[], object], *, init: bool = True) -> None:
        """Call `show` when the application's state of that name changes; while the page is away, on its return."""

        async def changed() -> None:
            if not self._is_seen():
                self._missed[show] = None
            elif isawaitable(shown := show()):
                await shown

        self.watch(self.app, name, changed, init=False)
        if init:
            self.call_next(show)

    def _is_seen(self) -> bool:
        try:
            return self in self.app.screen_stack
        except ScreenError:  # the program is being left
            return False

    def on_screen_resume(self) -> None:
        """Catch up with what was missed."""
        missed, self._missed = self._missed, {}
        for show in missed:
            self.call_next(show)

    def bindings_depend_on(self, state: object) -> None:
        """Look at the keys anew when this state changed. Their line is laid out again each time, which is slow."""
        if state != self._bindings_state:
            self._bindings_state = state
            self.refresh_bindings()

    def on_resize(self, event: events.Resize) -> None:
        """Fold or unfold the panes."""
        self._fold(event.size.width, event.size.height)

    def _fold(self, width: int, height: int) -> None:
        self.folded = width < FOLD_WIDTH or height < FOLD_HEIGHT
        self.set_class(self.folded, "-folded")
        self.set_class(not self.folded, "-open")
        small = width < LEAST.width or height < LEAST.height
        self.set_class(small, "-small")
        for line in self.query(".too-small").results(Static):
            line.update(
                f"{width}x{height} is too small: make it {LEAST.width}x{LEAST.height}." if small else ""
            )
        self.set_class(self.STANDS_TALL and self.folded and height >= TALL_HEIGHT, "-tall")
        self.set_class(self.console_app.reading and height >= TOUCH_HEIGHT, "-touch")

    def action_turn(self) -> None:
        """Show the next pane."""
        self.query_one(Deck).turn()

    def action_front(self, index: int) -> None:
        """Show one pane."""
        self.query_one(Deck).front = index

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """`View` is of use only where panes are folded."""
        if action == "turn":
            return self.folded and not self.has_class("-tall") and bool(self.query(Deck))
        return super().check_action(action, parameters)
