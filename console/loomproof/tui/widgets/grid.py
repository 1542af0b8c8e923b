"""A grid of cells edited in place: a cursor over cells drawn as strips, and one input laid over the cell."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from textwrap import wrap

from rich.segment import Segment
from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.message import Message
from textual.reactive import reactive
from textual.strip import Strip
from textual.suggester import SuggestFromList
from textual.widget import Widget
from textual.widgets import Input

from loomproof.tui.words import ROLES


@dataclass(frozen=True)
class GridColumn:
    """A column: its key, heading, width in cells, and whether its cells are edited."""

    key: str
    title: str
    width: int
    editable: bool = True


@dataclass(frozen=True)
class GridRow:
    """A row: its key, its cells, and the roles they are drawn in (short: plain)."""

    key: str
    cells: tuple[str, ...]
    roles: tuple[str, ...] = ()

    def role(self, index: int) -> str:
        """Return how a cell is drawn."""
        return self.roles[index] if index < len(self.roles) else "plain"


def clip(text: str, width: int) -> str:
    """Return text padded or shortened to a width, with a blank after it."""
    return f"{text:<{width}} " if len(text) <= width else f"{text[: width - 1]}… "


class CellGrid(Widget, can_focus=True):
    """Cells with a cursor. Enter edits in place, Tab goes on, Escape leaves the cell as it was."""

    BINDINGS = [
        Binding("up", "move(-1, 0)", show=False),
        Binding("down", "move(1, 0)", show=False),
        Binding("left", "move(0, -1)", show=False),
        Binding("right", "move(0, 1)", show=False),
        Binding("pageup", "move(-10, 0)", show=False),
        Binding("pagedown", "move(10, 0)", show=False),
        Binding("home", "move(0, -999)", show=False),
        Binding("end", "move(0, 999)", show=False),
        Binding("enter", "edit", "Edit", show=False),
        Binding("delete,backspace", "clear", "Clear the cell", show=False),
    ]
    COMPONENT_CLASSES = {f"grid--{role}" for role in ROLES} | {"grid--cursor", "grid--head", "grid--empty"}
    DEFAULT_CSS = """
    CellGrid { height: 1fr; layers: below over; }
    CellGrid Input { position: absolute; layer: over; height: 1; display: none; }
    CellGrid Input.-editing { display: block; }
    """

    rows: reactive[tuple[GridRow, ...]] = reactive(())
    row: reactive[int] = reactive(0)
    column: reactive[int] = reactive(0)
    empty_text: reactive[str] = reactive("Nothing here yet.")

    class Edited(Message):
        """A cell was written."""

        def __init__(self, grid: CellGrid, row: str, column: str, text: str) -> None:
            super().__init__()
            self.grid = grid
            self.row = row
            self.column = column
            self.text = text

        @property
        def control(self) -> CellGrid:
            """The grid."""
            return self.grid

    class CursorMoved(Message):
        """The cursor went to another cell."""

        def __init__(self, grid: CellGrid) -> None:
            super().__init__()
            self.grid = grid

        @property
        def control(self) -> CellGrid:
            """The grid."""
            return self.grid

    def __init__(
        self,
        columns: Sequence[GridColumn],
        *,
        id: str,  # noqa: A002 - Textual's name
        suggest: Callable[[str, str], Sequence[str]] | None = None,
        raw: Callable[[str, str], str] | None = None,
    ) -> None:
        super().__init__(id=id)
        self.columns = tuple(columns)
        self._suggest = suggest or (lambda row, column: ())
        self._raw = raw
        self._top = 0
        self._left = 1

    def compose(self) -> ComposeResult:
        """Lay out the input, which waits hidden."""
        yield Input(compact=True, max_length=200, select_on_focus=False)

    # --- what is shown ---------------------------------------------------------------------------------

    @property
    def row_key(self) -> str | None:
        """The key of the row under the cursor."""
        return self.rows[self.row].key if self.row < len(self.rows) else None

    @property
    def column_key(self) -> str:
        """The key of the column under the cursor."""
        return self.columns[self.column].key

    @property
    def editing(self) -> bool:
        """Whether a cell is being written."""
        return self.query_one(Input).has_class("-editing")

    def show(self, rows: Sequence[GridRow]) -> None:
        """Replace the rows; the cursor stays on its row's key where there still is one."""
        key = self.row_key
        self.rows = tuple(rows)
        keys = [row.key for row in self.rows]
        self.row = keys.index(key) if key in keys else self.row
        self.refresh()

    def go_to(self, row: str, column: str) -> bool:
        """Put the cursor on a cell; False if there is no such cell."""
        keys, columns = [r.key for r in self.rows], [c.key for c in self.columns]
        if row not in keys or column not in columns:
            return False
        self.row, self.column = keys.index(row), columns.index(column)
        return True

    def validate_row(self, row: int) -> int:
        """Keep the cursor on a row."""
        return max(0, min(row, len(self.rows) - 1))

    def validate_column(self, column: int) -> int:
        """Keep the cursor on a column."""
        return max(0, min(column, len(self.columns) - 1))

    def watch_row(self) -> None:
        """Tell, and draw anew."""
        self._tell()

    def watch_column(self) -> None:
        """Tell, and draw anew."""
        self._tell()

    def _tell(self) -> None:
        self._scroll()
        self.refresh()
        if self.is_mounted:
            self.post_message(self.CursorMoved(self))

    def _scroll(self) -> None:
        """Bring the cursor into view; the first column always stays."""
        height = max(self.size.height - 1, 1)
        self._top = min(max(self._top, self.row - height + 1), self.row)
        self._left = 1 if self.column <= 1 else min(self._left, self.column)
        while self._left < self.column and self._end_of(self.column) > self.size.width:
            self._left += 1

    def _visible(self) -> list[int]:
        return [0, *range(self._left, len(self.columns))]

    def _start_of(self, column: int) -> int:
        before = self._visible()[: self._visible().index(column)]
        return 2 + sum(self.columns[index].width + 1 for index in before)

    def _end_of(self, column: int) -> int:
        return self._start_of(column) + self.columns[column].width

    def on_resize(self) -> None:
        """Bring the cursor into view again."""
        self._scroll()
        if self.editing:
            self._place()

    # --- moving and editing ----------------------------------------------------------------------------

    def action_move(self, down: int, right: int) -> None:
        """Move the cursor."""
        self.row += down
        self.column += right

    def action_edit(self) -> None:
        """Write into the cell."""
        if not self.rows or not self.columns[self.column].editable:
            return
        row, column = self.rows[self.row], self.columns[self.column]
        field = self.query_one(Input)
        text = self._raw(row.key, column.key) if self._raw else row.cells[self.column]
        field.suggester = SuggestFromList(list(self._suggest(row.key, column.key)), case_sensitive=False)
        field.value = text
        field.add_class("-editing")
        self._place()
        field.focus()
        field.action_end()

    def _place(self) -> None:
        """Lay the input over its cell, wide enough to write in."""
        field = self.query_one(Input)
        start = self._start_of(self.column)
        width = max(self.columns[self.column].width, 12)
        start = max(0, min(start, self.size.width - width))
        field.styles.offset = (start, 1 + self.row - self._top)
        field.styles.width = min(width + 1, self.size.width)

    def action_clear(self) -> None:
        """Empty the cell."""
        if self.rows and self.columns[self.column].editable:
            self.post_message(self.Edited(self, self.rows[self.row].key, self.column_key, ""))

    def _finish(self, *, take: bool, back: bool = True) -> None:
        """Close the cell; `back`: the grid takes the focus again."""
        field = self.query_one(Input)
        if not self.editing:
            return
        field.remove_class("-editing")
        if back:
            self.focus()
        if take and self.row_key is not None:
            self.post_message(self.Edited(self, self.row_key, self.column_key, field.value))

    @on(Input.Submitted)
    def _submitted(self, event: Input.Submitted) -> None:
        event.stop()
        self._finish(take=True)

    @on(Input.Changed)
    def _keep(self, event: Input.Changed) -> None:
        event.stop()

    @on(Input.Blurred)
    def _left_cell(self, event: Input.Blurred) -> None:
        """Take what was typed when the cell is left any other way: nothing typed is lost."""
        event.stop()
        self._finish(take=True, back=False)

    def on_key(self, event: events.Key) -> None:
        """Escape, Tab, up and down while a cell is written."""
        if not self.editing or event.key not in ("escape", "tab", "shift+tab", "up", "down"):
            return
        event.stop()
        event.prevent_default()
        self._finish(take=event.key != "escape")
        moves = {"tab": (0, 1), "shift+tab": (0, -1), "up": (-1, 0), "down": (1, 0)}
        if event.key in moves:
            self.call_later(self.action_move, *moves[event.key])

    def on_click(self, event: events.Click) -> None:
        """Go to the cell under the mouse; a second click edits it."""
        at = event.y - 1 + self._top
        if event.y == 0 or at >= len(self.rows) or self.editing:
            return
        column = next((c for c in self._visible() if event.x < self._end_of(c) + 1), len(self.columns) - 1)
        again = (at, column) == (self.row, self.column) and event.chain > 1
        self.row, self.column = at, column
        if again:
            self.action_edit()

    # --- drawing ---------------------------------------------------------------------------------------

    def render_line(self, y: int) -> Strip:
        """Return one line: the headings, a row, or what to do where there is none."""
        width = self.size.width
        if not self.rows:
            return self._empty_line(y, width)
        if y == 0:
            text = "  " + "".join(clip(self.columns[i].title, self.columns[i].width) for i in self._visible())
            more = "›" if self._end_of(len(self.columns) - 1) > width else ""
            style = self.get_component_rich_style("grid--head")
            strip = Strip([Segment(text[: width - 1] + more, style)])
            return strip.adjust_cell_length(width, style)
        index = y - 1 + self._top
        if index >= len(self.rows):
            return Strip.blank(width, self.rich_style)
        row, here = self.rows[index], index == self.row
        segments = [Segment("▸ " if here else "  ", self.get_component_rich_style("grid--plain"))]
        for column in self._visible():
            cursor = here and column == self.column and self.has_focus
            name = "grid--cursor" if cursor else f"grid--{row.role(column)}"
            text = clip(row.cells[column], self.columns[column].width)
            segments += [
                Segment(text[:-1], self.get_component_rich_style(name)),
                Segment(" ", self.rich_style),
            ]
        return Strip(segments).adjust_cell_length(width, self.rich_style)

    def _empty_line(self, y: int, width: int) -> Strip:

        style = self.get_component_rich_style("grid--empty")
        lines = [
            line for part in self.empty_text.split("\n") for line in wrap(part, max(width - 2, 10)) or [""]
        ]
        text = f" {lines[y]}" if y < len(lines) else ""
        return Strip([Segment(text, style)]).adjust_cell_length(width, self.rich_style)
