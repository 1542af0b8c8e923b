"""The page on which a job is made: its channels in a table, one in a form, its head, its text, its problems."""

from __future__ import annotations

from pathlib import PurePath
from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, Vertical
from textual.widgets import Footer, Static, TextArea

from loomproof.job.problem import Problem
from loomproof.tui.pages.frame import STYLE_SHEETS, STYLES, Deck, Page, PageLine, Pane, pane_tabs
from loomproof.tui.pages.job.fields import CHANNEL_FIELDS, FORM_COLUMNS, GRID_COLUMNS, HEAD_FIELDS
from loomproof.tui.pages.job.rows import channel_rows, form_rows, head_rows, problem_rows, wrong_cells
from loomproof.tui.pages.job.writing import Writing
from loomproof.tui.widgets.grid import CellGrid
from loomproof.tui.widgets.row_list import RowList
from loomproof.tui.widgets.status import StatusBar

EMPTY = """\
No job is open here.

n  begins a new job from a template
i  makes one from a pin-out table (CSV or XLSX)
o  opens a job file

A job says which output of the box goes to which cavity, over which wire, to which load, at which place. \
Write it from the wiring diagram, not from the loom.\
"""
NO_CHANNELS = "This job has no channels yet. a adds one."
NOT_TOML = "The text is not TOML at the moment: mend it in the text (v), see the problems."


class JobPage(Writing, Page):
    """Makes and edits a job file. What it does to the file it does to no running session."""

    NAME = "making"
    CSS_PATH: ClassVar[list[str | PurePath]] = [
        STYLES / f"{name}.tcss" for name in (*STYLE_SHEETS, "job/page")
    ]
    BINDINGS = [
        Binding("ctrl+s", "save", "Save", priority=True),
        Binding("ctrl+z", "undo", "Undo"),
        Binding("ctrl+y", "redo", "Redo", show=False),
        Binding("a", "add", "Add"),
        Binding("d", "remove", "Delete"),
        Binding("c", "choose", "List"),
        Binding("n", "new", "New"),
        Binding("i", "import", "Import"),
        Binding("o", "open", "Open", show=False),
        Binding("w", "save_as", "Save as", show=False),
        Binding("p", "prove", "Prove", show=False),
        Binding("escape", "back", "Back", show=False),
    ]
    HELP = """\
# Job

Make or edit a job file. Everything you write is checked at once, by the same rules as `loomproof check`.

* **arrows** move in the table; **Enter** writes into a cell, **Tab** goes on to the next, **Esc** leaves it as it was,
  **Delete** empties it. **c** lists what a load, place or feed may be; typing narrows the list, and a new place or
  feed is added from there.
* **a** adds a channel, **d** deletes the one under the cursor. **Ctrl+Z** undoes, **Ctrl+Y** does it again.
* Problems stand in their list with line, reason and remedy; **Enter** there goes to the place.
* **v** turns to the form of one channel, the head of the job, and its text, in which anything can be written.
* **Ctrl+S** saves, **w** saves under another name. Comments stay as they are.
* **n** begins a new job from a template, **i** reads a pin-out table, **o** opens another file,
  **p** goes on to prove the loom.

Until it is saved, what you write is also kept in a draft beside the file, and offered if the program ends badly.
The session that runs now keeps the job as it was opened: open it again to prove the loom against the new one.
"""

    def compose(self) -> ComposeResult:
        """Lay out the frame; without an open job there are no other pages to go to."""
        app = self.console_app
        if app.has_desk:
            yield PageLine(self.NAME, app.desk.job.title, with_hands=app.hands is not None)
        else:
            yield Static("Loomproof: making a job     Esc goes back     ? is help", id="making-title")
        yield Static(classes="too-small", markup=False)
        yield from self.compose_body()
        yield Footer(compact=True, show_command_palette=False)
        yield StatusBar()

    def compose_body(self) -> ComposeResult:
        """Lay out the panes."""
        yield Static(id="making-file", markup=False)
        with Deck(id="making-deck"):
            with Horizontal(classes="pane-line"):
                yield from pane_tabs("Channels", "This channel", "Problems", "Head", "Text")
            with Pane(title="Channels", id="pane-making-channels"):
                yield CellGrid(GRID_COLUMNS, id="making-grid", suggest=self._suggest_cell, raw=self._raw_cell)
            with Pane(title="This channel", id="pane-making-form"), Vertical():
                yield CellGrid(
                    FORM_COLUMNS, id="making-form", suggest=self._suggest_field, raw=self._raw_field
                )
                yield Static(id="making-form-meaning", classes="making-meaning", markup=False)
            with Pane(title="Problems", id="pane-making-problems"), Vertical():
                yield RowList(id="making-problems")
                yield Static(id="making-remedy", markup=False)
            with Pane(title="Head", id="pane-making-head"), Vertical():
                yield CellGrid(
                    FORM_COLUMNS, id="making-head", suggest=self._suggest_field, raw=self._raw_head
                )
                yield Static(id="making-head-meaning", classes="making-meaning", markup=False)
            with Pane(title="Text", id="pane-making-text"):
                yield Static(
                    "Tab goes into the text, Esc leaves it. Anything a job file may say can be written here.",
                    classes="making-hint",
                )
                yield TextArea(id="making-text", show_line_numbers=True, tab_behavior="focus")

    def on_mount(self) -> None:
        """Open what the console was asked to edit."""
        super().on_mount()
        self.console_app.making_page = self
        for name in ("making-form", "making-head"):
            grid = self.query_one(f"#{name}", CellGrid)
            grid.column = 1
            grid.empty_text = ""
        self.query_one("#making-grid", CellGrid).focus()
        self.begin()

    # --- showing ---------------------------------------------------------------------------------------

    @property
    def unsaved(self) -> bool:
        """Whether something would be lost from the file by leaving now."""
        self.take_text()
        return self.piece is not None and self.piece.unsaved

    def show_all(self) -> None:
        """Draw everything anew from the document."""
        document = self.document
        grid = self.query_one("#making-grid", CellGrid)
        if document is None:
            grid.empty_text = EMPTY
            self._show_file()
            return
        grid.empty_text = NOT_TOML if document.raw() is None else NO_CHANNELS
        wrong = wrong_cells(document)
        grid.show(channel_rows(document, wrong))
        self.query_one("#making-form", CellGrid).show(form_rows(document, grid.row, wrong))
        self.query_one("#making-head", CellGrid).show(head_rows(document))
        self._show_meanings()
        self._show_problems()
        self._show_text()
        self._show_file()

    def _show_file(self) -> None:
        line = self.query_one("#making-file", Static)
        if self.piece is None or self.document is None:
            line.update("No job is open here.")
            return
        count = len(self.document.problems)
        state = "✓ sound" if not count else f"✗ {count} problem{'s' if count > 1 else ''}"
        kept = "● not saved" if self.piece.unsaved else "saved"
        session = "" if not self.console_app.has_desk else "   (the running session keeps the job as it was)"
        line.update(f"{self.piece.path.name}   {kept}   {state}{session}")
        line.set_class(bool(count), "-wrong")

    def _show_problems(self) -> None:
        problems = self.document.problems if self.document else ()
        rows = self.query_one("#making-problems", RowList)
        rows.empty_text = "✓ Nothing is wrong with this job." if self.document else "No job is open here."
        rows.show(problem_rows(problems))
        self._show_remedy()

    @on(RowList.Highlighted, "#making-problems")
    def _show_remedy(self) -> None:
        problem = self._problem()
        text = "" if problem is None else f"{problem.reason}\nTo mend it: {problem.remedy}"
        self.query_one("#making-remedy", Static).update(text)

    def _problem(self) -> Problem | None:
        key = self.query_one("#making-problems", RowList).key
        problems = self.document.problems if self.document else ()
        return problems[int(key)] if key is not None and int(key) < len(problems) else None

    def _show_text(self) -> None:
        area = self.query_one("#making-text", TextArea)
        if self.document is not None and area.text != self.document.text:
            self.loading = True
            where = area.cursor_location
            area.load_text(self.document.text)
            area.move_cursor(where)

    @on(CellGrid.CursorMoved, "#making-grid")
    def _moved(self) -> None:
        if self.document is not None:
            grid = self.query_one("#making-grid", CellGrid)
            form = self.query_one("#making-form", CellGrid)
            form.show(form_rows(self.document, grid.row, wrong_cells(self.document)))

    @on(CellGrid.CursorMoved, "#making-form")
    @on(CellGrid.CursorMoved, "#making-head")
    def _show_meanings(self) -> None:
        """Say below a form what its row at hand means: beside it there may be no room."""
        for name in ("making-form", "making-head"):
            grid = self.query_one(f"#{name}", CellGrid)
            meaning = grid.rows[grid.row].cells[-1] if grid.rows else ""
            self.query_one(f"#{name}-meaning", Static).update(meaning)

    # --- keys ------------------------------------------------------------------------------------------

    def action_choose(self) -> None:
        """List what the cell may be."""
        grid = self.query_one("#making-grid", CellGrid)
        form = self.query_one("#making-form", CellGrid)
        head = self.query_one("#making-head", CellGrid)
        if form.has_focus and form.row_key:
            self.choose("channels", grid.row, form.row_key)
        elif head.has_focus and head.row_key:
            field = next(field for field in HEAD_FIELDS if field.key == head.row_key)
            self.choose(field.table, 0, field.key)
        elif grid.row_key is not None:
            self.choose("channels", grid.row, grid.column_key)

    @on(RowList.Chosen, "#making-problems")
    def _jump(self) -> None:
        """Go to where a problem stands: its cell, its field, or its line in the text."""
        problem = self._problem()
        if problem is None or self.document is None:
            return
        place = self.document.place_of(problem)
        grid = self.query_one("#making-grid", CellGrid)
        deck = self.query_one(Deck)
        if place is not None and place[0] == "channels":
            grid.go_to(str(place[1]), place[2])
            if any(column.key == place[2] for column in GRID_COLUMNS):
                deck.bring("pane-making-channels")
                grid.focus()
                return
            form = self.query_one("#making-form", CellGrid)
            keys = [f.key for f in CHANNEL_FIELDS if f.key.split(".")[0] == place[2].split(".")[0]]
            if keys:
                form.go_to(place[2] if place[2] in keys else keys[0], "value")
                deck.bring("pane-making-form")
                form.focus()
                return
        area = self.query_one("#making-text", TextArea)
        deck.bring("pane-making-text")
        area.move_cursor(((problem.line or 1) - 1, 0), center=True)
        area.focus()

    async def action_back(self) -> None:
        """Leave the text; from elsewhere go back to where the page was come from."""
        if isinstance(self.focused, TextArea):
            self.take_text()
            self.query_one(Deck).bring("pane-making-channels")
            self.query_one("#making-grid", CellGrid).focus()
        elif not self.console_app.has_desk:
            await self.console_app.leave_making()
