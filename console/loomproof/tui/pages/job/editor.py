"""What the job page writes into the job: a cell, a choice from a list, a channel more or less, and undoing it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from textual.screen import Screen

from loomproof.job.file.document import JobDocument, typed_value
from loomproof.job.file.text_edits import EditError
from loomproof.job.pinout.values import fresh_id, slug
from loomproof.tui.pages.job.dialogs import ChooseOne, Option
from loomproof.tui.pages.job.fields import EXTENDED_BY, HEAD_FIELDS, Field, choices
from loomproof.tui.pages.job.files import Answered, JobFiles, Weight
from loomproof.tui.pages.job.rows import cell_text, value_at


class EditorPage(Protocol):
    """What the editor needs of the page that shows the job."""

    async def ask(self, question: Screen[Answered]) -> Answered:
        """Show a question over the page and return its answer."""
        ...

    def say(self, text: str, *, title: str = "", weight: Weight = "information", for_s: float = 4) -> None:
        """Show a line over the page for a while.

        Args:
            text: the line.
            title: above it; empty: none.
            weight: how much it matters.
            for_s: how long it stands there, in s.
        """
        ...

    def take_text(self) -> None:
        """Take over what was typed in the text."""
        ...

    def show_all(self) -> None:
        """Draw everything anew."""
        ...

    @property
    def channel_index(self) -> int:
        """Which channel of the job the form shows."""
        ...


def head_field(key: str) -> Field:
    """Return the field of the job's head with that key."""
    return next(field for field in HEAD_FIELDS if field.key == key)


def raw_text(document: JobDocument | None, table: str, index: int, key: str) -> str:
    """Return what is written for a key, as it is typed.

    Args:
        document: the job; None: none is open.
        table: `channels`, a table of the head, or empty for the top of the file.
        index: which channel; it means nothing for the head.
        key: the key in the table; a dot in it goes into a table of its own.
    """
    if document is None:
        return ""
    if table == "channels":
        rows = document.rows(table) or []
        return cell_text(value_at(rows[index], key)) if 0 <= index < len(rows) else ""
    return cell_text(value_at(document.raw() or {}, f"{table}.{key}" if table else key))


def write(document: JobDocument, table: str, index: int, key: str, text: str) -> bool:
    """Write a cell.

    Args:
        document: the job.
        table: `channels`, a table of the head, or empty for the top of the file.
        index: which channel; it means nothing for the head.
        key: the key in the table.
        text: what was typed.

    Returns:
        Whether anything is written that was not there.

    Raises:
        EditError: It can only be changed in the text.
    """
    if raw_text(document, table, index, key) == text.strip():
        return False
    document.set(table, index, key, typed_value(key.rpartition(".")[2], text))
    return True


class JobEditor:
    """Changes the job that is open, and shows it.

    Args:
        files: has the job that is open.
        page: shows it.
    """

    def __init__(self, files: JobFiles, page: EditorPage) -> None:
        self._files = files
        self._page = page

    @property
    def _document(self) -> JobDocument | None:
        return self._files.document

    # --- what stands in a cell, and what may -----------------------------------------------------------

    def raw_cell(self, row: str, column: str) -> str:
        """Return what is written in a cell of the channel table."""
        return raw_text(self._document, "channels", int(row), column)

    def raw_field(self, row: str, column: str) -> str:
        """Return what is written in a field of one channel's form."""
        return raw_text(self._document, "channels", self._page.channel_index, row)

    def raw_head(self, row: str, column: str) -> str:
        """Return what is written in a field of the job's head."""
        field = head_field(row)
        return raw_text(self._document, field.table, 0, field.key)

    def suggest_cell(self, row: str, column: str) -> list[str]:
        """Return what may be written in a cell of the channel table, as far as there is a list."""
        return [choice for choice, _ in choices(column, self._document)] if self._document else []

    def suggest_field(self, row: str, column: str) -> list[str]:
        """Return what may be written in a field of a form, as far as there is a list."""
        return self.suggest_cell(column, row)

    # --- changing --------------------------------------------------------------------------------------

    def write_cell(self, index: int, key: str, text: str) -> None:
        """Write into a channel."""
        self._change(lambda document: write(document, "channels", index, key, text))

    def write_head(self, key: str, text: str) -> None:
        """Write into the job's head."""
        field = head_field(key)
        self._change(lambda document: write(document, field.table, 0, field.key, text))

    async def choose(self, table: str, index: int, key: str) -> None:
        """List what a key may be, and write what is chosen; a place or a feed may be a new one."""
        document = self._document
        options = choices(key, document) if document is not None else []
        if document is None or (not options and key not in EXTENDED_BY):
            self._page.say("This cell has no list: press Enter and type.", for_s=3)
            return
        new = f"Add the {'place' if key == 'location' else 'feed'}" if key in EXTENDED_BY else ""
        listed = [Option(name, note) for name, note in options]
        picked = await self._page.ask(ChooseOne(f"Choose: {key}", listed, new=new))
        if picked is None:
            return
        chosen = picked.key
        try:
            if picked.new:
                chosen = fresh_id(slug(picked.key, "place"), {option for option, _ in options})
                document.add(EXTENDED_BY[key], {"id": chosen, "name": picked.key})
            document.set(table, index, key, typed_value(key.rpartition(".")[2], chosen))
        except EditError as error:
            self._only_in_text(error)
        self.show_changed()

    def undo(self) -> None:
        """Undo the last change."""
        self._page.take_text()
        done = self._document.undo() if self._document else None
        self._say_done("Undone", done, "There is nothing to undo.")

    def redo(self) -> None:
        """Do again what was undone."""
        done = self._document.redo() if self._document else None
        self._say_done("Redone", done, "There is nothing to redo.")

    def _say_done(self, what: str, done: str | None, nothing: str) -> None:
        if done is None:
            self._page.say(nothing, for_s=2)
        else:
            self._page.say(f"{what}: {done}", for_s=2)
            self.show_changed()

    def add_channel(self) -> bool:
        """Add a channel on the next free output and cavity; True when it was added."""
        document = self._document
        if document is None or document.raw() is None:
            return False
        try:
            added = document.add_channel()
        except EditError as error:
            self._only_in_text(error)
            return False
        if not added:
            text = "The box has 16 outputs and all are taken. Split the job over two boxes."
            self._page.say(text, weight="warning", for_s=5)
            return False
        self.show_changed()
        return True

    def remove_channel(self, index: int) -> None:
        """Delete a channel; undo brings it back."""
        if self._change(lambda document: document.remove("channels", index)):
            self._page.say("Channel deleted. Ctrl+Z brings it back.", for_s=3)

    def take_text(self, text: str) -> None:
        """Take over the whole text, if it is another one."""
        if self._document is not None and self._document.change(text, "text typed", join=True):
            self.show_changed()

    def _change(self, change: Callable[[JobDocument], bool]) -> bool:
        """Change the job and show it; say so where it can only be changed in the text."""
        if self._document is None:
            return False
        try:
            changed = change(self._document)
        except EditError as error:
            self._only_in_text(error)
            return False
        if changed:
            self.show_changed()
        return changed

    def _only_in_text(self, error: EditError) -> None:
        self._page.say(str(error), title="Change that in the text", weight="warning", for_s=5)

    def show_changed(self) -> None:
        """Keep the draft, and draw everything anew."""
        self._files.keep_draft()
        self._page.show_all()
