"""The files of the job page: new, open, import, save, the draft beside the file, and leaving it all."""

from __future__ import annotations

import difflib
from pathlib import Path
from typing import Literal, Protocol, TypeVar

from textual.screen import Screen

from loomproof.job.file.document import JobDocument
from loomproof.job.templates import TEMPLATES, template_text
from loomproof.tui.pages.job.dialogs import (
    AskDraft,
    AskLine,
    AskUnsaved,
    ChooseOne,
    DraftAnswer,
    Option,
    UnsavedAnswer,
)
from loomproof.tui.pages.job.job_file import ChangedOnDiskError, JobFile, JobFileError
from loomproof.tui.pages.job.pinout import PinoutScreen
from loomproof.tui.pages.questions import AskYesNo

TABLE_ENDINGS = (".csv", ".xlsx", ".xlsm", ".tsv", ".txt")
ANOTHER_FILE = "Another file:"
Answered = TypeVar("Answered")
Weight = Literal["information", "warning", "error"]


def nearby(folder: Path, endings: tuple[str, ...]) -> list[Option]:
    """Return the files of a folder with these endings, the newest first."""
    try:
        found = [path for path in folder.iterdir() if path.suffix.casefold() in endings and path.is_file()]
        found.sort(key=lambda path: -path.stat().st_mtime)
    except OSError:
        return []
    return [Option(path.name) for path in found[:200]]


class FilesPage(Protocol):
    """What the files need of the page that shows them."""

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

    def show_opened(self, path: Path) -> None:
        """Draw a file that was just opened, remember where it lies, and put the cursor into its channels."""
        ...

    def renamed(self, path: Path) -> None:
        """Remember that the job now lies there."""
        ...


class JobFiles:
    """The job file that is being edited, and what is done with files.

    Every coroutine waits for the page's questions, so it runs in a worker of the page.
    """

    def __init__(self, page: FilesPage) -> None:
        self._page = page
        self.file: JobFile | None = None

    @property
    def document(self) -> JobDocument | None:
        """The text that is being edited."""
        return None if self.file is None else self.file.document

    def _refuse(self, error: Exception | str, title: str = "") -> None:
        self._page.say(str(error), title=title, weight="error", for_s=8)

    # --- opening ---------------------------------------------------------------------------------------

    async def begin(self, path: Path | None) -> None:
        """Open the file that the console was asked to edit, if it was; one that is not there is a new one."""
        if path is None:
            self._page.show_all()
        elif path.exists():
            await self._open(path)
        else:
            await self._new_at(path)

    async def _open(self, path: Path) -> None:
        try:
            file = JobFile.open(path)
        except JobFileError as error:
            self._refuse(error, "It cannot be opened")
            self._page.show_all()
            return
        await self._take(file)

    async def _take(self, file: JobFile) -> None:
        """Go on with another file; offer the draft that an earlier session left."""
        leftover = file.leftover()
        if leftover is not None:
            diff = difflib.ndiff(file.document.text.split("\n"), leftover.text.split("\n"))
            changed = sum(line[0] in "+-" for line in diff)
            written = f"{leftover.written:%Y-%m-%d %H:%M}"
            answer = await self._page.ask(AskDraft(file.path, written, changed))
            if answer is DraftAnswer.TAKE:
                file.document.change(leftover.text, "draft opened")
            elif answer is DraftAnswer.DROP:
                file.drop_draft()
            else:
                self._page.say("The draft stays until you change the job: then it is replaced.")
        self.file = file
        self._page.show_opened(file.path)

    async def may_leave(self) -> bool:
        """Ask what happens to unsaved changes; False: the operator stays with them."""
        if self.file is None:
            return True
        self._page.take_text()
        if not self.file.unsaved:
            return True
        answer = await self._page.ask(AskUnsaved(self.file.path, self.file.draft_path))
        if answer is UnsavedAnswer.SAVE:
            return await self.save()
        return answer is UnsavedAnswer.LEAVE

    async def open(self) -> None:
        """Open another job file."""
        if not await self.may_leave():
            return
        folder = self._folder()
        chosen = await self._page.ask(
            ChooseOne(
                "Open a job",
                nearby(folder, (".toml",)),
                new=ANOTHER_FILE,
                text=f"Job files in {folder}; or type a path.",
            )
        )
        if chosen is not None:
            await self._open(self._path(chosen.key))

    def _folder(self) -> Path:
        return self.file.path.parent if self.file is not None else Path.cwd()

    def _path(self, name: str) -> Path:
        return (self._folder() / Path(name).expanduser()).resolve()

    # --- a new one -------------------------------------------------------------------------------------

    async def new(self) -> None:
        """Begin a new job from a template."""
        if await self.may_leave():
            await self._new_at(None)

    async def _new_at(self, path: Path | None) -> None:
        options = [Option(template.name, template.words) for template in TEMPLATES.values()]
        chosen = await self._page.ask(
            ChooseOne(
                "A new job", options, text="Which comes nearest? Everything in it can be changed afterwards."
            )
        )
        if chosen is None:
            self._page.show_all()
            return
        where = path or await self._ask_path("Where is the new job kept?", "new-job.toml")
        if where is None:
            self._page.show_all()
            return
        text = template_text(TEMPLATES[chosen.key], where.stem, "to be given")
        await self._take(JobFile(where, text, None))
        self.keep_draft()

    async def _ask_path(self, title: str, name: str) -> Path | None:
        def check(text: str) -> str:
            where = self._path(text)
            if not text:
                return "Write a file name."
            if where.exists():
                return f"{where.name} is there already. Give another name."
            if not where.parent.is_dir():
                return f"There is no folder {where.parent}."
            return ""

        ask = f"A file name, or a path. Without a folder it goes to {self._folder()}."
        text = await self._page.ask(AskLine(title, ask, name, check))
        return None if text is None else self._path(text)

    async def import_table(self) -> None:
        """Make a job from a pin-out table."""
        if not await self.may_leave():
            return
        folder = self._folder()
        chosen = await self._page.ask(
            ChooseOne(
                "A job from a pin-out table",
                nearby(folder, TABLE_ENDINGS),
                new=ANOTHER_FILE,
                text=f"Tables (CSV, XLSX) in {folder}; or type a path.",
            )
        )
        if chosen is None:
            return
        table = self._path(chosen.key)
        screen = PinoutScreen(table)
        await self._page.ask(screen)
        text = screen.made
        if text is None:
            return
        where = await self._ask_path("Where is the job kept?", f"{table.stem}.toml")
        if where is not None:
            await self._take(JobFile(where, text, None))
            self.keep_draft()

    # --- saving ----------------------------------------------------------------------------------------

    def keep_draft(self) -> None:
        """Keep what is not saved in a draft beside the file."""
        if self.file is None:
            return
        try:
            self.file.keep_draft()
        except JobFileError as error:
            self._refuse(f"No draft can be kept: {error} Save the job elsewhere with w.", "Draft")

    async def save(self) -> bool:
        """Save; True when it is saved."""
        if self.file is None:
            return False
        self._page.take_text()
        try:
            self.file.save()
        except ChangedOnDiskError as error:
            if not await self._save_over(self.file, error):
                return False
        except JobFileError as error:
            self._refuse(f"{error} Save it elsewhere with w.", "Not saved")
            return False
        count = len(self.file.document.problems)
        still = "" if not count else f" It still has {problems_text(count)} and cannot be proven yet."
        self._page.say(f"Saved {self.file.path.name}.{still}")
        self._page.show_all()
        return True

    async def _save_over(self, file: JobFile, error: ChangedOnDiskError) -> bool:
        question = AskYesNo(
            "Someone else changed the file",
            f"{error} Save over it, and lose what was written there? No keeps both: save under another name (w).",
            yes="Save over it",
            no="Do not save",
        )
        if not await self._page.ask(question):
            return False
        try:
            file.save(over=True)
        except JobFileError as worse:
            self._refuse(worse, "Not saved")
            return False
        return True

    async def save_as(self) -> None:
        """Save under another name."""
        if self.file is None:
            return
        self._page.take_text()
        where = await self._ask_path("Save under another name", self.file.path.name)
        if where is None:
            return
        try:
            self.file.save_as(where)
        except JobFileError as error:
            self._refuse(error, "Not saved")
            return
        self._page.renamed(where)
        self._page.say(f"Saved {where.name}.")
        self._page.show_all()


def problems_text(count: int) -> str:
    """Return how many problems there are, in words."""
    return f"{count} problem{'s' if count > 1 else ''}"
