"""A scrolling list of one-line rows drawn as strips, with a cursor for the keyboard and the mouse."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.binding import Binding
from textual.geometry import Region, Size
from textual.message import Message
from textual.reactive import reactive
from textual.scroll_view import ScrollView
from textual.strip import Strip

from loomproof.tui.words import ROLES


@dataclass(frozen=True)
class Row:
    """One line: parts of (text, role). `key` names what the row stands for; `wide` is drawn where it fits."""

    key: str
    parts: tuple[tuple[str, str], ...]
    wide: tuple[tuple[str, str], ...] = ()
    tail: tuple[str, str] = ("", "plain")
    """Stands at the right edge; what would run into it ends in an ellipsis."""
    now: bool = False
    """The row that is acting now, or the current step."""


Parts = tuple[tuple[str, str], ...]


def fit(parts: Parts, width: int) -> Parts:
    """Return parts padded, or shortened with an ellipsis, to exactly `width` cells."""
    total = sum(len(text) for text, _ in parts)
    if total <= width:
        return (*parts, (" " * (width - total), "plain"))
    fitted: list[tuple[str, str]] = []
    left = width - 1
    for text, role in parts:
        fitted.append((text[:left], role))
        left -= len(text)
        if left <= 0:
            break
    return (*fitted, ("…", "quiet"))


class RowList(ScrollView, can_focus=True):
    """Rows with a cursor. The cursor row is marked by a pointer and reverse video, not by colour alone."""

    BINDINGS = [
        Binding("up", "cursor(-1)", "Up", show=False),
        Binding("down", "cursor(1)", "Down", show=False),
        Binding("pageup", "cursor(-10)", "Page up", show=False),
        Binding("pagedown", "cursor(10)", "Page down", show=False),
        Binding("home", "cursor(-9999)", "First", show=False),
        Binding("end", "cursor(9999)", "Last", show=False),
        Binding("enter", "choose", "Choose", show=False),
    ]
    COMPONENT_CLASSES = {f"row--{role}" for role in ROLES} | {"row--cursor", "row--empty"}

    rows: reactive[tuple[Row, ...]] = reactive(())
    cursor: reactive[int] = reactive(0)
    empty_text: reactive[str] = reactive("Nothing here yet.")

    class Highlighted(Message):
        """The cursor moved to another row."""

        def __init__(self, rows: RowList, key: str) -> None:
            super().__init__()
            self.rows = rows
            self.key = key

        @property
        def control(self) -> RowList:
            """The list."""
            return self.rows

    class Chosen(Highlighted):
        """A row was chosen with Enter or by a second click."""

    @property
    def key(self) -> str | None:
        """The key of the row under the cursor."""
        return self.rows[self.cursor].key if 0 <= self.cursor < len(self.rows) else None

    def show(self, rows: Sequence[Row]) -> None:
        """Replace the rows, keeping the cursor on the same key where it still exists."""
        key = self.key
        fresh = tuple(rows)
        if fresh == self.rows:
            return
        keys = [row.key for row in fresh]
        self.rows = fresh
        if key in keys:
            self.cursor = keys.index(key)
        self._measure()

    def go_to(self, key: str) -> None:
        """Put the cursor on a key, if there is such a row."""
        keys = [row.key for row in self.rows]
        if key in keys:
            self.cursor = keys.index(key)

    def validate_cursor(self, cursor: int) -> int:
        """Keep the cursor on a row."""
        return max(0, min(cursor, len(self.rows) - 1))

    def watch_cursor(self, old: int, new: int) -> None:
        """Scroll the cursor into view, and report that it moved."""
        self.refresh()
        self.scroll_to_region(Region(0, new, 1, 1), animate=False, force=True)
        if old != new and self.key is not None:
            self.post_message(self.Highlighted(self, self.key))

    def watch_rows(self) -> None:
        """Draw anew."""
        self._measure()
        self.refresh()

    def on_resize(self) -> None:
        """Measure anew."""
        self._measure()

    def _measure(self) -> None:
        self.virtual_size = Size(self.scrollable_content_region.width, len(self.rows))

    def action_cursor(self, by: int) -> None:
        """Move the cursor."""
        self.cursor += by

    def action_choose(self) -> None:
        """Choose the row under the cursor."""
        if self.key is not None:
            self.post_message(self.Chosen(self, self.key))

    def on_click(self, event: events.Click) -> None:
        """Move to the row under the mouse; a second click on it chooses it."""
        index = event.y + self.scroll_offset.y
        if 0 <= index < len(self.rows):
            if index == self.cursor and event.chain > 1:
                self.action_choose()
            self.cursor = index

    def _role_style(self, role: str) -> Style:
        return self.get_component_rich_style(f"row--{role}")

    def render_line(self, y: int) -> Strip:
        """Return one row as a strip."""
        width = self.scrollable_content_region.width
        index = y + self.scroll_offset.y
        if not self.rows:
            return self._empty_line(y, width)
        if index >= len(self.rows):
            return Strip.blank(width, self.rich_style)
        row = self.rows[index]
        here = index == self.cursor
        pointer = "▸" if here else ("►" if row.now else " ")
        used = 1 + sum(len(text) for text, _ in row.parts)
        parts = row.parts + (row.wide if used + sum(len(t) for t, _ in row.wide) <= width else ())
        if row.tail[0]:
            parts = (*fit(parts, width - 2 - len(row.tail[0])), (f" {row.tail[0]}", row.tail[1]))
        elif used > width:
            parts = fit(parts, width - 1)
        parts = ((pointer, "live" if row.now else "plain"), *parts)
        if here and self.has_focus:
            # One style over the whole row: reversing each role's own colour would make it a patchwork.
            cursor = self.get_component_rich_style("row--cursor")
            text = "".join(text for text, _ in parts)
            return Strip([Segment(text, cursor)]).adjust_cell_length(width, cursor)
        segments = [Segment(text, self._role_style(role)) for text, role in parts]
        return Strip(segments).adjust_cell_length(width, self.rich_style)

    def _empty_line(self, y: int, width: int) -> Strip:

        lines = wrap(self.empty_text, max(width - 2, 10))
        text = f" {lines[y]}" if y < len(lines) else ""
        segment = Segment(text, self.get_component_rich_style("row--empty"))
        return Strip([segment]).adjust_cell_length(width, self.rich_style)
