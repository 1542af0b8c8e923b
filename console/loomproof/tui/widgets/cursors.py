"""A trace with two cursors that the keyboard or the mouse moves, and what they read."""

from __future__ import annotations

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.binding import Binding
from textual.message import Message
from textual.reactive import reactive
from textual.strip import Strip
from textual.widget import Widget

from loomproof.tui.views.trace import ReadingView
from loomproof.tui.widgets.waveform import MARGIN, Waveform

SHARES = (0.1, 0.9)
"""Where the cursors stand at first, as shares of the pulse."""


class CursorWaveform(Waveform, can_focus=True):
    """A waveform with cursors A and B. `c` shows them and changes from one to the other, `x` takes them away."""

    BINDINGS = [
        Binding("left", "move(-1)", "Cursor left", show=False),
        Binding("right", "move(1)", "Cursor right", show=False),
        Binding("shift+left", "move(-10)", "Cursor far left", show=False),
        Binding("shift+right", "move(10)", "Cursor far right", show=False),
        Binding("home", "move(-9999)", "Cursor to the start", show=False),
        Binding("end", "move(9999)", "Cursor to the end", show=False),
    ]

    cursors: reactive[tuple[float, float] | None] = reactive(None)
    """Times of A and B in s after switch-on; None: no cursors."""
    active: reactive[int] = reactive(0)

    class CursorsMoved(Message):
        """A cursor moved, came or went."""

        def __init__(self, cursors: tuple[float, float] | None) -> None:
            super().__init__()
            self.cursors = cursors

    def watch_cursors(self) -> None:
        """Report that the cursors moved."""
        self.post_message(self.CursorsMoved(self.cursors))

    def watch_view(self) -> None:
        """A new trace has new readings under the same cursors."""
        if self.cursors is not None:
            self.post_message(self.CursorsMoved(self.cursors))

    def change(self) -> None:
        """Show the cursors, or go on to the other one."""
        if self.cursors is None:
            self._place()
        else:
            self.active = 1 - self.active

    def away(self) -> None:
        """Take the cursors away."""
        self.cursors = None
        self.active = 0

    def _place(self) -> None:
        if not any(len(curve.times_s) for curve in self.view.curves):
            return
        x_axis, _ = self.axes()
        end = self.view.on_time_s or x_axis.high
        end = min(end, x_axis.high)
        self.cursors = (SHARES[0] * end, SHARES[1] * end)

    def action_move(self, steps: int) -> None:
        """Move the active cursor by half cells."""
        if self.cursors is None:
            self._place()
            return
        x_axis, _ = self.axes()
        step = (x_axis.high - x_axis.low) / max(2 * (self._columns() - 1), 1)
        self._put(self.cursors[self.active] + steps * step)

    def _put(self, at: float) -> None:
        if self.cursors is None:
            return
        x_axis, _ = self.axes()
        at = min(max(at, x_axis.low), x_axis.high)
        self.cursors = (at, self.cursors[1]) if self.active == 0 else (self.cursors[0], at)

    def on_click(self, event: events.Click) -> None:
        """Put the active cursor under the mouse; the first click brings both."""
        if self.cursors is None:
            self._place()
        if self.cursors is not None:
            x_axis, _ = self.axes()
            self._put(x_axis.value((event.x - MARGIN - 1) / max(self._columns() - 1, 1)))

    def _columns(self) -> int:
        return max(self.size.width - MARGIN - 1, 2)

    def drawn_key(self) -> tuple[object, ...]:
        """What the picture depends on."""
        return (*super().drawn_key(), self.cursors, self.active, self.has_focus)

    def marked_columns(self, columns: int) -> dict[int, str]:
        """Return the columns of the cursors with their letters; the active one's comes last and wins."""
        if self.cursors is None:
            return {}
        x_axis, _ = self.axes()
        order = (1 - self.active, self.active)
        return {
            round(x_axis.fraction(min(max(self.cursors[n], x_axis.low), x_axis.high)) * (columns - 1)): "AB"[
                n
            ]
            for n in order
        }


class Readings(Widget):
    """What the cursors read: one line each, or two beside each other where it is low."""

    COMPONENT_CLASSES = {"readings--name", "readings--value", "readings--hint"}
    NAME_WIDTH = 7
    view: reactive[ReadingView] = reactive(ReadingView())
    hints: reactive[tuple[str, ...]] = reactive(())

    def lines(self, width: int, height: int) -> list[list[tuple[str, str]]]:
        """Return the lines as (text, component) parts."""
        rows = [[(f"{name:<{self.NAME_WIDTH}}", "name"), (value, "value")] for name, value in self.view.rows]
        if len(rows) > height and width >= 70:
            half = -(-len(rows) // 2)
            column = width // 2
            pairs = zip(rows[:half], [*rows[half:], *[[]] * (2 * half - len(rows))], strict=True)
            rows = [[*left, (" " * max(column - _width(left), 1), "value"), *right] for left, right in pairs]
        return [*rows, *([(hint, "hint")] for hint in self.hints)]

    def render_line(self, y: int) -> Strip:
        """Return one line."""
        lines = self.lines(self.size.width, self.size.height - len(self.hints))
        if y >= len(lines):
            return Strip.blank(self.size.width, self.rich_style)
        segments = [Segment(text, self._style(part)) for text, part in lines[y]]
        return Strip(segments).adjust_cell_length(self.size.width, self.rich_style)

    def _style(self, part: str) -> Style:
        return self.get_component_rich_style(f"readings--{part}")


def _width(parts: list[tuple[str, str]]) -> int:
    return sum(len(text) for text, _ in parts)
