"""The page that reads a pin-out table: what each column is taken for and why, what it makes of the rows, what to settle."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path, PurePath
from typing import ClassVar

from textual import on, work
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, Vertical
from textual.widgets import Footer, Static

from loomproof.job.catalogue import CATALOGUE
from loomproof.job.pinout.columns import NONE, Choices, ColumnFact, match_columns
from loomproof.job.pinout.draft import PinoutDraft, PinoutOutput
from loomproof.job.pinout.job_text import pinout_job_text
from loomproof.job.pinout.outputs import draft_pinout
from loomproof.job.pinout.sheet import PinoutError, Sheet
from loomproof.job.pinout.table_file import read_sheet
from loomproof.job.templates import TEMPLATES
from loomproof.tui.pages.frame import STYLE_SHEETS, STYLES, Deck, Page, Pane, pane_tabs
from loomproof.tui.pages.job.dialogs import ChooseOne, Option
from loomproof.tui.pages.job.pinout_rows import PinoutEntry, column_rows, line_row, open_words, remark_entries
from loomproof.tui.widgets.grid import CellGrid, GridColumn
from loomproof.tui.widgets.row_list import RowList
from loomproof.tui.widgets.status import StatusBar

COLUMNS = (
    GridColumn("fact", "Fact", 10, editable=False),
    GridColumn("column", "Column", 20),
    GridColumn("why", "Why", 60, editable=False),
)
NO_COLUMN, FROM_HEADINGS = "none", "headings"
"""Keys of the two choices that name no column; a column's own key begins with a colon."""
OUTPUT_HINT = "Enter settles the load of the row under the cursor, s that of every row with the same words."


class PinoutScreen(Page):
    """Shows and changes how a table is read. `made` is the job's text when it was taken, else None."""

    NAME = "pinout"
    CSS_PATH: ClassVar[list[str | PurePath]] = [
        STYLES / f"{name}.tcss" for name in (*STYLE_SHEETS, "job/page")
    ]
    BINDINGS = [
        Binding("ctrl+s", "take", "Make job", priority=True),
        Binding("c", "column", "Column"),
        Binding("s", "settle_alike", "Alike"),
        Binding("h", "headings", "Headings"),
        Binding("t", "template", "Engine"),
        Binding("n", "sheet", "Sheet", show=False),
        Binding("escape", "leave", "Leave", show=False),
    ]
    HELP = f"""\
# A job from a pin-out table

* **Columns**: what each column is taken for, and why. **Enter** or **c** on a line takes another column for that fact.
  **h** says in which row the headings are.
* **Outputs**: what the rows make. {OUTPUT_HINT}
* **To settle**: what the table leaves open, what was read by a guess, and every row left out, with the reason.
* **t** gives the job its setting and engine, **n** takes another sheet of a workbook.
* **Ctrl+S** makes the job. A load that is not settled is written as `?`, and the job is not sound until it is.

WARNING: a table rarely says what a relay switches. The strictest reading is taken; compare every line with the wiring
diagram before anything is driven.
"""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.path = path
        self.made: str | None = None
        self._sheet: Sheet | None = None
        self._draft: PinoutDraft | None = None
        self._choices = Choices()
        self._template = "vehicle"
        self._problem = ""
        self._entries: dict[str, PinoutEntry] = {}

    def compose(self) -> ComposeResult:
        """Lay out the panes."""
        yield Static(id="making-file", markup=False)
        with Deck(id="pinout-deck"):
            with Horizontal(classes="pane-line"):
                yield from pane_tabs("Columns", "Outputs", "To settle")
            with Pane(title="Columns", id="pane-pinout-columns"), Vertical():
                yield CellGrid(COLUMNS, id="pinout-columns", suggest=self._suggest, raw=self._raw)
                yield Static(id="pinout-why", classes="making-hint", markup=False)
            with Pane(title="Outputs", id="pane-pinout-lines"), Vertical():
                yield RowList(id="pinout-lines")
                yield Static(OUTPUT_HINT, classes="making-hint", markup=False)
            with Pane(title="To settle", id="pane-pinout-remarks"), Vertical():
                yield RowList(id="pinout-remarks")
                yield Static(id="pinout-remedy", classes="making-hint", markup=False)
        yield Footer(compact=True, show_command_palette=False)
        yield StatusBar()

    def on_mount(self) -> None:
        """Read the table."""
        super().on_mount()
        grid = self.query_one("#pinout-columns", CellGrid)
        grid.column = 1
        grid.empty_text = "The table could not be read; see the line above."
        grid.focus()
        self.read(None)

    # --- reading and showing ---------------------------------------------------------------------------

    def read(self, sheet: str | None) -> None:
        """Read the file, or another of its sheets."""
        try:
            self._sheet = read_sheet(self.path.read_bytes(), self.path.name, sheet)
        except OSError as error:
            self._problem = f"{error.strerror or error}."
        except PinoutError as error:
            self._problem = f"{error.reason}; {error.remedy}."
        else:
            self._choices = Choices()
            self._try(self._choices)
            return
        self._show()

    def _try(self, choices: Choices) -> None:
        """Read the table by these choices; if one does not fit, say so and keep the earlier ones."""
        if self._sheet is None:
            return
        try:
            self._draft = draft_pinout(self._sheet, choices)
            self._choices, self._problem = choices, ""
        except PinoutError as error:
            self._problem = f"{error.reason}; {error.remedy}."
            if self._draft is None:
                self._choices = choices
        self._show()

    def _show(self) -> None:
        line = self.query_one("#making-file", Static)
        draft = self._draft
        if self._problem or draft is None:
            line.update(f"✗ {self.path.name}: {self._problem}")
        else:
            settle = len(draft.to_settle)
            state = "✓ nothing to settle" if not settle else f"✗ {settle} to settle"
            line.update(
                f"{self.path.name}: {draft.sheet.how}   {len(draft.lines)} outputs, {len(draft.left_out)} rows left out   "
                f"{state}   {TEMPLATES[self._template].words}"
            )
        line.set_class(bool(self._problem or (draft and draft.to_settle)), "-wrong")
        self._show_columns()
        if draft is not None:
            lines = self.query_one("#pinout-lines", RowList)
            lines.empty_text = "No row of the table is an output. See what was left out, and the columns."
            lines.show([line_row(line) for line in draft.lines])
            self._entries = {entry.row.key: entry for entry in remark_entries(draft)}
            self.query_one("#pinout-remarks", RowList).show([entry.row for entry in self._entries.values()])
        self._remedy()

    def _show_columns(self) -> None:
        if self._sheet is None:
            return
        try:
            matching = self._draft.matching if self._draft else match_columns(self._sheet, self._choices)
        except PinoutError:
            matching = match_columns(self._sheet, Choices())
        self.query_one("#pinout-columns", CellGrid).show(column_rows(matching))
        self._why()

    @on(CellGrid.CursorMoved, "#pinout-columns")
    def _why(self) -> None:
        grid = self.query_one("#pinout-columns", CellGrid)
        row = grid.rows[grid.row] if grid.rows else None
        self.query_one("#pinout-why", Static).update("" if row is None else f"{row.cells[0]}: {row.cells[2]}")

    @on(RowList.Highlighted, "#pinout-remarks")
    def _remedy(self) -> None:
        entry = self._entries.get(self.query_one("#pinout-remarks", RowList).key or "")
        remark = entry.remark if entry is not None else None
        text = f"{remark.reason}\nTo mend it: {remark.remedy}" if remark is not None else ""
        self.query_one("#pinout-remedy", Static).update(text)

    # --- columns ---------------------------------------------------------------------------------------

    def _labels(self) -> list[tuple[str, str]]:
        if self._sheet is None:
            return []
        matching = match_columns(self._sheet, Choices(header_row=self._choices.header_row))
        return [
            (column.label.replace("`", ""), "e.g. " + ", ".join(column.cells[:4]))
            for column in matching.columns
            if column.cells
        ]

    def _suggest(self, row: str, column: str) -> list[str]:
        return [label for label, _ in self._labels()]

    def _raw(self, row: str, column: str) -> str:
        return ""

    @on(CellGrid.Edited, "#pinout-columns")
    def _column_typed(self, event: CellGrid.Edited) -> None:
        if event.row in set(ColumnFact) and event.text.strip():
            self._use_column(ColumnFact(event.row), event.text.strip())
        elif event.row in set(ColumnFact):
            self._use_column(ColumnFact(event.row), NONE)

    @work(exclusive=True, group="pinout")
    async def action_column(self) -> None:
        """List the columns for the fact under the cursor."""
        key = self.query_one("#pinout-columns", CellGrid).row_key
        if key not in set(ColumnFact):
            self.notify(
                "The job has no place for that column. Choose it at one of the facts above.", timeout=4
            )
            return
        labels = self._labels()
        options = [
            *(Option(f":{label}", note, label) for label, note in labels),
            Option(NO_COLUMN, "the table does not say it", "(no column)"),
            Option(FROM_HEADINGS, "let the headings decide", "(as it is read)"),
        ]
        picked = await self.app.push_screen_wait(ChooseOne(f"Which column says {key}?", options))
        if picked is None:
            return
        if picked.key == FROM_HEADINGS:
            columns = {fact: text for fact, text in self._choices.columns.items() if fact != key}
            self._try(replace(self._choices, columns=columns))
        else:
            self._use_column(ColumnFact(key), NONE if picked.key == NO_COLUMN else picked.key[1:])

    def _use_column(self, fact: ColumnFact, said: str) -> None:
        """Take a column for a fact; one that another fact was given before is taken away from it."""
        is_label = said in (label for label, _ in self._labels())
        name = said.split(" ", maxsplit=1)[0] if is_label else said
        columns = {
            other: text for other, text in self._choices.columns.items() if text != name or name == NONE
        }
        self._try(replace(self._choices, columns={**columns, fact: name}))

    @work(exclusive=True, group="pinout")
    async def action_headings(self) -> None:
        """Say in which row the headings are."""
        if self._sheet is None:
            return
        options = [
            Option(str(row.number), " | ".join(cell for cell in row.cells if cell)[:60])
            for row in self._sheet.rows[:40]
            if not row.blank
        ]
        picked = await self.app.push_screen_wait(
            ChooseOne("In which row are the headings?", [*options, Option("0", "there are none")])
        )
        if picked is not None:
            self._try(replace(self._choices, header_row=int(picked.key), columns={}))

    # --- loads -----------------------------------------------------------------------------------------

    @on(RowList.Chosen, "#pinout-lines")
    def _settle_one(self) -> None:
        self._settle(alike=False)

    def action_settle_alike(self) -> None:
        """Settle every row that says the same."""
        self._settle(alike=True)

    @work(exclusive=True, group="pinout")
    async def _settle(self, *, alike: bool) -> None:
        line = self._line()
        if line is None:
            return
        first = [Option(key, CATALOGUE[key].name) for key in line.load.candidates]
        rest = [Option(key, load.name) for key, load in CATALOGUE.items() if key not in line.load.candidates]
        title = f"Row {line.row}, {line.name}: what is the load?"
        picked = await self.app.push_screen_wait(ChooseOne(title, first + rest, text=line.load.why))
        if picked is None or self._draft is None:
            return
        words = open_words(line)
        rows = [other.row for other in self._draft.lines if alike and open_words(other) == words] or [
            line.row
        ]
        self._try(
            replace(
                self._choices,
                row_loads={**self._choices.row_loads, **dict.fromkeys([*rows, line.row], picked.key)},
            )
        )

    def _line(self) -> PinoutOutput | None:
        key = self.query_one("#pinout-lines", RowList).key
        lines = self._draft.lines if self._draft else ()
        return next((line for line in lines if str(line.row) == key), None)

    # --- the rest --------------------------------------------------------------------------------------

    @work(exclusive=True, group="pinout")
    async def action_template(self) -> None:
        """Give the job its setting and engine."""
        options = [Option(template.name, template.words) for template in TEMPLATES.values()]
        picked = await self.app.push_screen_wait(
            ChooseOne("Setting and engine of the job", options, now=self._template)
        )
        if picked is not None:
            self._template = picked.key
            self._show()

    @work(exclusive=True, group="pinout")
    async def action_sheet(self) -> None:
        """Take another sheet."""
        names = self._sheet.sheets if self._sheet else ()
        if len(names) < 2:
            self.notify("There is no other sheet.", timeout=2)
            return
        picked = await self.app.push_screen_wait(ChooseOne("Which sheet?", [Option(name) for name in names]))
        if picked is not None:
            self._draft = None
            self.read(picked.key)

    def action_take(self) -> None:
        """Make the job's text and go back with it."""
        if self._draft is None or not self._draft.lines:
            self.notify(
                "No row of the table is an output yet: look at the columns.", severity="warning", timeout=4
            )
            return
        self.made = pinout_job_text(
            self._draft,
            title=self.path.stem,
            job_number="to be given",
            source=self.path.name,
            template=TEMPLATES[self._template],
        )
        self.dismiss(None)

    def action_leave(self) -> None:
        """Go back without a job."""
        self.dismiss(None)
