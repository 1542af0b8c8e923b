"""The job page: makes and edits a job file, as a table, as a form of one channel, as its head and as its text."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path, PurePath
from typing import ClassVar

from textual import on, work
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, Vertical
from textual.screen import Screen
from textual.widgets import Footer, Static

from loomproof.job.file.document import JobDocument
from loomproof.tui.pages.frame import STYLE_SHEETS, STYLES, Deck, Page, PageLine, Pane, pane_tabs
from loomproof.tui.pages.job.editor import JobEditor, head_field
from loomproof.tui.pages.job.fields import CHANNEL_FIELDS, FORM_COLUMNS, GRID_COLUMNS
from loomproof.tui.pages.job.files import Answered, JobFiles, Weight, problems_text
from loomproof.tui.pages.job.job_text import JobText
from loomproof.tui.pages.job.problem_list import ProblemList
from loomproof.tui.pages.job.rows import channel_rows, form_rows, head_rows, wrong_cells
from loomproof.tui.pages.job.words import EMPTY, HELP, NO_CHANNELS, NOT_TOML
from loomproof.tui.widgets.grid import CellGrid
from loomproof.tui.widgets.row_list import RowList
from loomproof.tui.widgets.status import StatusBar


class JobPage(Page):
    """Makes and edits a job file. A running session keeps the job as it was opened."""

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
    HELP = HELP

    def __init__(self) -> None:
        super().__init__()
        self.files = JobFiles(self)
        self.editor = JobEditor(self.files, self)

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
                yield CellGrid(
                    GRID_COLUMNS, id="making-grid", suggest=self.editor.suggest_cell, raw=self.editor.raw_cell
                )
            with Pane(title="This channel", id="pane-making-form"), Vertical():
                yield CellGrid(
                    FORM_COLUMNS,
                    id="making-form",
                    suggest=self.editor.suggest_field,
                    raw=self.editor.raw_field,
                )
                yield Static(id="making-form-meaning", classes="making-meaning", markup=False)
            with Pane(title="Problems", id="pane-making-problems"):
                yield ProblemList()
            with Pane(title="Head", id="pane-making-head"), Vertical():
                yield CellGrid(
                    FORM_COLUMNS,
                    id="making-head",
                    suggest=self.editor.suggest_field,
                    raw=self.editor.raw_head,
                )
                yield Static(id="making-head-meaning", classes="making-meaning", markup=False)
            with Pane(title="Text", id="pane-making-text"):
                yield Static(
                    "Tab goes into the text, Esc leaves it. Anything a job file may say can be written here.",
                    classes="making-hint",
                )
                yield JobText(id="making-text", show_line_numbers=True, tab_behavior="focus")

    def on_mount(self) -> None:
        """Open what the console was asked to edit."""
        super().on_mount()
        self.console_app.making_page = self
        for name in ("making-form", "making-head"):
            grid = self.query_one(f"#{name}", CellGrid)
            grid.column = 1
            grid.empty_text = ""
        self._grid.focus()
        self._begin()

    @property
    def document(self) -> JobDocument | None:
        """The text that is being edited."""
        return self.files.document

    @property
    def _grid(self) -> CellGrid:
        return self.query_one("#making-grid", CellGrid)

    @property
    def _form(self) -> CellGrid:
        return self.query_one("#making-form", CellGrid)

    @property
    def _head(self) -> CellGrid:
        return self.query_one("#making-head", CellGrid)

    @property
    def channel_index(self) -> int:
        """Which channel of the job the form shows."""
        return self._grid.row

    # --- what files and editor need (`FilesPage`, `EditorPage`) ------------------------------------------

    async def ask(self, question: Screen[Answered]) -> Answered:
        """Show a question over the page and return its answer."""
        return await self.app.push_screen_wait(question)

    def say(self, text: str, *, title: str = "", weight: Weight = "information", for_s: float = 4) -> None:
        """Show a line over the page for a while.

        Args:
            text: the line.
            title: above it; empty: none.
            weight: how much it matters.
            for_s: how long it stands there, in s.
        """
        self.notify(text, title=title, severity=weight, timeout=for_s, markup=False)

    def take_text(self) -> None:
        """Take over what was typed in the text, if anything was."""
        self.editor.take_text(self.query_one(JobText).take())

    def show_opened(self, path: Path) -> None:
        """Draw a file that was just opened, and put the cursor into its channels."""
        self.console_app.making_path = path
        self.show_all()
        self._grid.focus()

    def renamed(self, path: Path) -> None:
        """Remember that the job now lies there."""
        self.console_app.making_path = path

    # --- what the application needs (`UnsavedWork`) ----------------------------------------------------

    @property
    def unsaved(self) -> bool:
        """Whether something would be lost from the file by leaving now."""
        self.take_text()
        return self.files.file is not None and self.files.file.unsaved

    def ask_leave(self, then: Callable[[], object]) -> None:
        """Ask about unsaved changes, then do something unless the operator stays."""

        async def ask() -> None:
            if await self.files.may_leave():
                then()

        self.run_worker(ask(), exclusive=True, group="making")

    # --- showing ---------------------------------------------------------------------------------------

    def show_all(self) -> None:
        """Draw everything anew from the document."""
        document = self.document
        grid = self._grid
        if document is None:
            grid.empty_text = EMPTY
            self._show_file()
            return
        grid.empty_text = NOT_TOML if document.raw() is None else NO_CHANNELS
        wrong = wrong_cells(document)
        grid.show(channel_rows(document, wrong))
        self._form.show(form_rows(document, grid.row, wrong))
        self._head.show(head_rows(document))
        self._show_meanings()
        self.query_one(ProblemList).show(document)
        self._show_text()
        self._show_file()

    def _show_file(self) -> None:
        line = self.query_one("#making-file", Static)
        if self.files.file is None or self.document is None:
            line.update("No job is open here.")
            return
        count = len(self.document.problems)
        state = "✓ sound" if not count else f"✗ {problems_text(count)}"
        kept = "● not saved" if self.files.file.unsaved else "saved"
        session = "" if not self.console_app.has_desk else "   (the running session keeps the job as it was)"
        line.update(f"{self.files.file.path.name}   {kept}   {state}{session}")
        line.set_class(bool(count), "-wrong")

    def _show_text(self) -> None:
        if self.document is not None:
            self.query_one(JobText).fill(self.document.text)

    @on(CellGrid.CursorMoved, "#making-grid")
    def _moved(self) -> None:
        if self.document is not None:
            grid = self._grid
            form = self._form
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

    def _at_cursor(self) -> tuple[str, int, str] | None:
        """Return table, index and key of the cell under the cursor of the pane that has the focus."""
        if self._form.has_focus and self._form.row_key:
            return "channels", self._grid.row, self._form.row_key
        if self._head.has_focus and self._head.row_key:
            field = head_field(self._head.row_key)
            return field.table, 0, field.key
        return ("channels", self._grid.row, self._grid.column_key) if self._grid.row_key is not None else None

    @work(exclusive=True, group="making")
    async def action_choose(self) -> None:
        """List what the cell may be, and write what is chosen."""
        cell = self._at_cursor()
        if cell is not None:
            await self.editor.choose(*cell)

    @on(CellGrid.Edited, "#making-grid")
    def _cell_edited(self, event: CellGrid.Edited) -> None:
        self.editor.write_cell(int(event.row), event.column, event.text)

    @on(CellGrid.Edited, "#making-form")
    def _field_edited(self, event: CellGrid.Edited) -> None:
        self.editor.write_cell(self.channel_index, event.row, event.text)

    @on(CellGrid.Edited, "#making-head")
    def _head_edited(self, event: CellGrid.Edited) -> None:
        self.editor.write_head(event.row, event.text)

    @on(JobText.Rested)
    def _text_rested(self) -> None:
        self.take_text()

    def action_undo(self) -> None:
        """Undo."""
        self.editor.undo()

    def action_redo(self) -> None:
        """Do again what was undone."""
        self.editor.redo()

    def action_add(self) -> None:
        """Add a channel on the next free output and cavity, and go to its name."""
        if self.editor.add_channel():
            self._grid.go_to(self._grid.rows[-1].key, "name")
            self._grid.focus()

    def action_remove(self) -> None:
        """Delete the channel under the cursor."""
        if self._grid.row_key is not None:
            self.editor.remove_channel(int(self._grid.row_key))

    # --- files -----------------------------------------------------------------------------------------

    @work(exclusive=True, group="making")
    async def _begin(self) -> None:
        await self.files.begin(self.console_app.making_path)

    @work(exclusive=True, group="making")
    async def action_open(self) -> None:
        """Open another job file."""
        await self.files.open()

    @work(exclusive=True, group="making")
    async def action_new(self) -> None:
        """Begin a new job from a template."""
        await self.files.new()

    @work(exclusive=True, group="making")
    async def action_import(self) -> None:
        """Make a job from a pin-out table."""
        await self.files.import_table()

    @work(exclusive=True, group="making")
    async def action_save(self) -> None:
        """Save."""
        await self.files.save()

    @work(exclusive=True, group="making")
    async def action_save_as(self) -> None:
        """Save under another name."""
        await self.files.save_as()

    @work(exclusive=True, group="making")
    async def action_prove(self) -> None:
        """Go on to prove the loom: save first, then choose the box."""
        file = self.files.file
        if file is None:
            return
        if self.console_app.has_desk:
            self.say("A session is open. Leave it with Ctrl+Q, then open this job.", weight="error", for_s=8)
        elif file.document.problems:
            self.say(
                "The job still has problems: a loom is only proven against a sound job.",
                weight="error",
                for_s=8,
            )
        elif await self.files.may_leave() and not file.unsaved:
            await self.console_app.leave_making(file.path)

    @on(RowList.Chosen, "#making-problems")
    def _jump(self) -> None:
        """Go to where a problem stands: its cell, its field, or its line in the text."""
        problem = self.query_one(ProblemList).problem
        if problem is None or self.document is None:
            return
        place = self.document.place_of(problem)
        grid = self._grid
        deck = self.query_one(Deck)
        if place is not None and place[0] == "channels":
            grid.go_to(str(place[1]), place[2])
            if any(column.key == place[2] for column in GRID_COLUMNS):
                deck.bring("pane-making-channels")
                grid.focus()
                return
            form = self._form
            keys = [f.key for f in CHANNEL_FIELDS if f.key.split(".")[0] == place[2].split(".")[0]]
            if keys:
                form.go_to(place[2] if place[2] in keys else keys[0], "value")
                deck.bring("pane-making-form")
                form.focus()
                return
        area = self.query_one(JobText)
        deck.bring("pane-making-text")
        area.move_cursor(((problem.line or 1) - 1, 0), center=True)
        area.focus()

    async def action_back(self) -> None:
        """Leave the text; from elsewhere go back to the page before."""
        if isinstance(self.focused, JobText):
            self.take_text()
            self.query_one(Deck).bring("pane-making-channels")
            self._grid.focus()
        elif not self.console_app.has_desk:
            await self.console_app.leave_making()
