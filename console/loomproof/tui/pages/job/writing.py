"""Writing into the job on the making page: cells, fields, the head, the text, and taking it back."""

from __future__ import annotations

from textual import on
from textual.timer import Timer
from textual.widgets import TextArea

from loomproof.job.file.document import typed_value
from loomproof.job.file.editing import EditError
from loomproof.tui.pages.job.fields import HEAD_FIELDS, choices
from loomproof.tui.pages.job.filing import Filing
from loomproof.tui.pages.job.rows import cell_text, value_at
from loomproof.tui.widgets.grid import CellGrid

TYPING_S = 0.3
"""Typing in the text is taken, and checked, when it has rested this long."""


class Writing(Filing):
    """What is written where, and into the document. `loading` is set while the page itself fills the text."""

    loading = False
    _typing: Timer | None = None

    # --- cells and fields ------------------------------------------------------------------------------

    def _row(self, table: str, index: int) -> dict[str, object]:
        rows = (self.document.rows(table) if self.document else None) or []
        return dict(rows[index]) if 0 <= index < len(rows) else {}

    def _raw_cell(self, row: str, column: str) -> str:
        return cell_text(value_at(self._row("channels", int(row)), column))

    def _raw_field(self, row: str, column: str) -> str:
        return cell_text(value_at(self._row("channels", self.query_one("#making-grid", CellGrid).row), row))

    def _raw_head(self, row: str, column: str) -> str:
        rows = {r.key: r.cells[1] for r in self.query_one("#making-head", CellGrid).rows}
        return rows.get(row, "")

    def _suggest_cell(self, row: str, column: str) -> list[str]:
        return [choice for choice, _ in choices(column, self.document)] if self.document else []

    def _suggest_field(self, row: str, column: str) -> list[str]:
        return self._suggest_cell(column, row)

    @on(CellGrid.Edited, "#making-grid")
    def _cell_edited(self, event: CellGrid.Edited) -> None:
        self._write("channels", int(event.row), event.column, event.text)

    @on(CellGrid.Edited, "#making-form")
    def _field_edited(self, event: CellGrid.Edited) -> None:
        self._write("channels", self.query_one("#making-grid", CellGrid).row, event.row, event.text)

    @on(CellGrid.Edited, "#making-head")
    def _head_edited(self, event: CellGrid.Edited) -> None:
        field = next(field for field in HEAD_FIELDS if field.key == event.row)
        self._write(field.table, 0, field.key, event.text)

    def _write(self, table: str, index: int, key: str, text: str) -> None:
        document = self.document
        if document is None or self._raw_is(table, index, key, text):
            return
        try:
            document.set(table, index, key, typed_value(key.rpartition(".")[2], text))
        except EditError as error:
            self.tell_of_text(error)
            return
        self.changed()

    def tell_of_text(self, error: EditError) -> None:
        """Say that a change can only be made in the text."""
        self.notify(str(error), title="That is written in the text", severity="warning", markup=False)

    def _raw_is(self, table: str, index: int, key: str, text: str) -> bool:
        if table == "channels":
            return self._raw_cell(str(index), key) == text.strip()
        return self._raw_head(key, "") == text.strip()

    def changed(self) -> None:
        """The document changed: keep the draft and draw anew."""
        self.keep_draft()
        self._page.show_all()

    @on(TextArea.Changed, "#making-text")
    def _text_changed(self) -> None:
        if self.loading:
            self.loading = False
            return
        if self._typing is not None:
            self._typing.stop()
        self._typing = self.set_timer(TYPING_S, self.take_text)

    def take_text(self) -> None:
        """Take what was typed in the text, if anything was."""
        if self._typing is not None:
            self._typing.stop()
            self._typing = None
        area = self.query_one("#making-text", TextArea)
        if self.document is not None and self.document.change(area.text, "text typed", join=True):
            self.changed()

    # --- whole channels, and back -----------------------------------------------------------------------

    def action_undo(self) -> None:
        """Undo."""
        self.take_text()
        done = self.document.undo() if self.document else None
        self._told("Undone", done, "There is nothing to undo.")

    def action_redo(self) -> None:
        """Do again what was undone."""
        done = self.document.redo() if self.document else None
        self._told("Done again", done, "There is nothing to do again.")

    def _told(self, what: str, done: str | None, nothing: str) -> None:
        if done is None:
            self.notify(nothing, timeout=2)
        else:
            self.notify(f"{what}: {done}", timeout=2, markup=False)
            self.changed()

    def action_add(self) -> None:
        """Add a channel on the next free output and cavity."""
        document = self.document
        if document is None or document.raw() is None:
            return
        try:
            added = document.add_channel()
        except EditError as error:
            self.tell_of_text(error)
            return
        if not added:
            self.notify(
                "The box has 16 outputs and all are taken. Split the job over two boxes.", severity="warning"
            )
            return
        self.changed()
        grid = self.query_one("#making-grid", CellGrid)
        grid.go_to(grid.rows[-1].key, "name")
        grid.focus()

    def action_remove(self) -> None:
        """Delete the channel under the cursor; undo brings it back."""
        grid = self.query_one("#making-grid", CellGrid)
        if self.document is None or grid.row_key is None:
            return
        try:
            self.document.remove("channels", int(grid.row_key))
        except EditError as error:
            self.tell_of_text(error)
            return
        self.changed()
        self.notify("Channel deleted. Ctrl+Z brings it back.", timeout=3)
