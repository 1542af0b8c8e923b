"""The files of the making page: new, open, import, save, the draft beside the file, and leaving it all."""

from __future__ import annotations

import difflib
from collections.abc import Callable
from pathlib import Path
from typing import Protocol, cast

from textual import work
from textual.screen import Screen

from loomproof.job.file.document import JobDocument, typed_value
from loomproof.job.file.editing import EditError
from loomproof.job.pinout.values import fresh_id, slug
from loomproof.job.templates import TEMPLATES, template_text
from loomproof.tui.app_state import AppState
from loomproof.tui.pages.job.dialogs import NEW, AskLeftover, AskLine, AskUnsaved, ChooseOne
from loomproof.tui.pages.job.fields import MADE, choices
from loomproof.tui.pages.job.job_file import ChangedOnDiskError, JobFile, JobFileError
from loomproof.tui.pages.job.pinout import PinoutScreen
from loomproof.tui.pages.questions import AskYesNo

TABLE_ENDINGS = (".csv", ".xlsx", ".xlsm", ".tsv", ".txt")
TYPE_A_PATH = "Another file:"


def nearby(folder: Path, endings: tuple[str, ...]) -> list[tuple[str, str]]:
    """Return the files of a folder with these endings, the newest first."""
    try:
        found = [path for path in folder.iterdir() if path.suffix.casefold() in endings and path.is_file()]
        found.sort(key=lambda path: -path.stat().st_mtime)
    except OSError:
        return []
    return [(path.name, "") for path in found[:200]]


class PageInWork(Protocol):
    """What filing needs of the page that it is part of."""

    def changed(self) -> None:
        """Show what a change has made of the job."""
        ...

    def show_all(self) -> None:
        """Draw everything anew."""
        ...

    def take_text(self) -> bool:
        """Take over what stands in the text."""
        ...

    def tell_of_text(self, error: EditError) -> None:
        """Say that the text is not a job."""
        ...


class Filing(Screen[None]):
    """What the making page does with files. `piece` is the file in work."""

    piece: JobFile | None = None

    @property
    def document(self) -> JobDocument | None:
        """The text in work."""
        return None if self.piece is None else self.piece.document

    @property
    def _page(self) -> PageInWork:
        return cast("PageInWork", self)

    @property
    def _shell(self) -> AppState:
        return cast("AppState", self.app)

    def _say(self, error: Exception | str, title: str = "") -> None:
        self.notify(str(error), title=title, severity="error", timeout=8, markup=False)

    # --- opening ---------------------------------------------------------------------------------------

    @work(exclusive=True, group="making")
    async def begin(self) -> None:
        """Open the file that the console was asked to edit, if it was."""
        path = self._shell.making_path
        if path is None:
            self._page.show_all()
        elif path.exists():
            await self._open(path)
        else:
            await self._new_at(path)

    async def _open(self, path: Path) -> None:
        try:
            piece = JobFile.open(path)
        except JobFileError as error:
            self._say(error, "It cannot be opened")
            self._page.show_all()
            return
        await self._take(piece)

    async def _take(self, piece: JobFile) -> None:
        """Go on with another file; offer the draft that an earlier session left."""
        leftover = piece.leftover()
        if leftover is not None:
            diff = difflib.ndiff(piece.document.text.split("\n"), leftover.text.split("\n"))
            changed = sum(line[0] in "+-" for line in diff)
            written = f"{leftover.written:%Y-%m-%d %H:%M}"
            answer = await self.app.push_screen_wait(AskLeftover(piece.path, written, changed))
            if answer == "take":
                piece.document.change(leftover.text, "draft taken up")
            elif answer == "drop":
                piece.drop_draft()
            else:
                self.notify("The draft stays until you write: then it is replaced.", timeout=4)
        self.piece = piece
        self._shell.making_path = piece.path
        self._page.show_all()
        self.query_one("#making-grid").focus()

    async def _may_leave(self) -> bool:
        """Ask what is to become of unsaved changes; False: stay with them."""
        if self.piece is None:
            return True
        self._page.take_text()
        if not self.piece.unsaved:
            return True
        answer = await self.app.push_screen_wait(AskUnsaved(self.piece.path, self.piece.draft_path))
        if answer == "save":
            return await self._save()
        return answer == "leave"

    @work(exclusive=True, group="making")
    async def action_open(self) -> None:
        """Open another job file."""
        if not await self._may_leave():
            return
        folder = self._folder()
        name = await self.app.push_screen_wait(
            ChooseOne(
                "Open a job",
                nearby(folder, (".toml",)),
                new=TYPE_A_PATH,
                text=f"Job files in {folder}; or type a path.",
            )
        )
        if name is not None:
            await self._open(self._path(name))

    def _folder(self) -> Path:
        return self.piece.path.parent if self.piece is not None else Path.cwd()

    def _path(self, name: str) -> Path:
        return (self._folder() / Path(name.removeprefix(NEW)).expanduser()).resolve()

    # --- a new one -------------------------------------------------------------------------------------

    @work(exclusive=True, group="making")
    async def action_new(self) -> None:
        """Begin a new job from a template."""
        if await self._may_leave():
            await self._new_at(None)

    async def _new_at(self, path: Path | None) -> None:
        options = [(template.name, template.words) for template in TEMPLATES.values()]
        name = await self.app.push_screen_wait(
            ChooseOne(
                "A new job", options, text="Which comes nearest? Everything in it can be changed afterwards."
            )
        )
        if name is None:
            self._page.show_all()
            return
        where = path or await self._ask_path("Where is the new job to be kept?", "new-job.toml")
        if where is None:
            self._page.show_all()
            return
        text = template_text(TEMPLATES[name], where.stem, "to be given")
        await self._take(JobFile(where, text, None))
        self.keep_draft()

    async def _ask_path(self, title: str, name: str) -> Path | None:
        def check(text: str) -> str:
            where = (self._folder() / Path(text).expanduser()).resolve()
            if not text:
                return "Write a file name."
            if where.exists():
                return f"{where.name} is there already. Give another name."
            if not where.parent.is_dir():
                return f"There is no folder {where.parent}."
            return ""

        ask = f"A file name, or a path. Without a folder it goes to {self._folder()}."
        text = await self.app.push_screen_wait(AskLine(title, ask, name, check))
        return None if text is None else (self._folder() / Path(text).expanduser()).resolve()

    @work(exclusive=True, group="making")
    async def action_import(self) -> None:
        """Make a job from a pin-out table."""
        if not await self._may_leave():
            return
        folder = self._folder()
        name = await self.app.push_screen_wait(
            ChooseOne(
                "A job from a pin-out table",
                nearby(folder, TABLE_ENDINGS),
                new=TYPE_A_PATH,
                text=f"Tables (CSV, XLSX) in {folder}; or type a path.",
            )
        )
        if name is None:
            return
        table = self._path(name)
        screen = PinoutScreen(table)
        await self.app.push_screen_wait(screen)
        text = screen.made
        if text is None:
            return
        where = await self._ask_path("Where is the job to be kept?", f"{table.stem}.toml")
        if where is not None:
            await self._take(JobFile(where, text, None))
            self.keep_draft()

    # --- saving ----------------------------------------------------------------------------------------

    def keep_draft(self) -> None:
        """Keep what is not saved in a draft beside the file."""
        if self.piece is None:
            return
        try:
            self.piece.keep_draft()
        except JobFileError as error:
            self._say(f"No draft can be kept: {error} Save the job elsewhere with w.", "Draft")

    @work(exclusive=True, group="making")
    async def action_save(self) -> None:
        """Save."""
        await self._save()

    async def _save(self) -> bool:
        if self.piece is None:
            return False
        self._page.take_text()
        try:
            self.piece.save()
        except ChangedOnDiskError as error:
            question = AskYesNo(
                "The file was written by someone else",
                f"{error} Save over it, and lose what was written there? No keeps both: save under another name (w).",
                yes="Save over it",
                no="Do not save",
            )
            if not await self.app.push_screen_wait(question):
                return False
            try:
                self.piece.save(over=True)
            except JobFileError as worse:
                self._say(worse, "Not saved")
                return False
        except JobFileError as error:
            self._say(f"{error} Save it elsewhere with w.", "Not saved")
            return False
        count = len(self.piece.document.problems)
        note = (
            ""
            if not count
            else f" It has {count} problem{'s' if count > 1 else ''} still and cannot be proven yet."
        )
        self.notify(f"Saved {self.piece.path.name}.{note}", timeout=4, markup=False)
        self._page.show_all()
        return True

    @work(exclusive=True, group="making")
    async def action_save_as(self) -> None:
        """Save under another name."""
        if self.piece is None:
            return
        self._page.take_text()
        where = await self._ask_path("Save under another name", self.piece.path.name)
        if where is None:
            return
        try:
            self.piece.save_as(where)
        except JobFileError as error:
            self._say(error, "Not saved")
            return
        self._shell.making_path = where
        self.notify(f"Saved {where.name}.", timeout=4, markup=False)
        self._page.show_all()

    # --- choosing, proving, leaving --------------------------------------------------------------------

    @work(exclusive=True, group="making")
    async def choose(self, table: str, index: int, key: str) -> None:
        """List what a key may be, and write what is chosen; a place or a feed may be a new one."""
        document = self.document
        options = choices(key, document) if document is not None else []
        if document is None or (not options and key not in MADE):
            self.notify("This cell has no list: Enter writes into it.", timeout=3)
            return
        new = f"Add the {'place' if key == 'location' else 'feed'}" if key in MADE else ""
        chosen = await self.app.push_screen_wait(ChooseOne(f"Choose: {key}", options, new=new))
        if chosen is None:
            return
        try:
            if chosen.startswith(NEW):
                name = chosen.removeprefix(NEW)
                chosen = fresh_id(slug(name, "place"), {option for option, _ in options})
                document.add(MADE[key], {"id": chosen, "name": name})
            document.set(table, index, key, typed_value(key.rpartition(".")[2], chosen))
        except EditError as error:
            self._page.tell_of_text(error)
        self._page.changed()

    @work(exclusive=True, group="making")
    async def action_prove(self) -> None:
        """Go on to prove the loom: save first, then choose the box."""
        if self.piece is None:
            return
        if self._shell.has_desk:
            self._say("A session is open. Leave it with Ctrl+Q, then open this job.")
        elif self.piece.document.problems:
            self._say("The job has problems still: a loom is proven against a sound job only.")
        elif await self._may_leave() and not self.piece.unsaved:
            await self._shell.leave_making(self.piece.path)

    def ask_leave(self, then: Callable[[], object]) -> None:
        """Ask about unsaved changes, then do something unless the operator stays."""

        async def ask() -> None:
            if await self._may_leave():
                then()

        self.run_worker(ask(), exclusive=True, group="making")
