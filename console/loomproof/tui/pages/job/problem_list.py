"""The problems of the job in a list, and how to mend the one under the cursor."""

from __future__ import annotations

from textual import on
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.widgets import Static

from loomproof.job.file.document import JobDocument
from loomproof.job.problem import Problem
from loomproof.tui.pages.job.rows import problem_rows
from loomproof.tui.widgets.row_list import RowList


class ProblemList(Vertical):
    """What is wrong with the job that is open. A row that is chosen is for the page to go to."""

    _problems: tuple[Problem, ...] = ()

    def compose(self) -> ComposeResult:
        """Lay out the list and the remedy."""
        yield RowList(id="making-problems")
        yield Static(id="making-remedy", markup=False)

    def show(self, document: JobDocument | None) -> None:
        """Show the problems of a job; None: no job is open."""
        self._problems = document.problems if document is not None else ()
        rows = self.query_one(RowList)
        rows.empty_text = (
            "✓ Nothing is wrong with this job." if document is not None else "No job is open here."
        )
        rows.show(problem_rows(self._problems))
        self._show_remedy()

    @property
    def problem(self) -> Problem | None:
        """The problem under the cursor."""
        key = self.query_one(RowList).key
        return self._problems[int(key)] if key is not None and int(key) < len(self._problems) else None

    @on(RowList.Highlighted)
    def _show_remedy(self) -> None:
        problem = self.problem
        text = "" if problem is None else f"{problem.reason}\nTo mend it: {problem.remedy}"
        self.query_one("#making-remedy", Static).update(text)
