"""The record page: what has been written down so far, and where it lies."""

from __future__ import annotations

import shlex

from textual import on
from textual.app import ComposeResult
from textual.widgets import Static

from loomproof.records.database import store_url
from loomproof.tui.pages.frame import Page, Pane
from loomproof.tui.pages.loom.page import job_lines
from loomproof.tui.pages.record.view import RecordLine, RecordView
from loomproof.tui.widgets.row_list import Row, RowList
from loomproof.tui.words import verdict_sign


def record_row(index: int, line: RecordLine) -> Row:
    """Return one line of the record."""
    sign = verdict_sign(line.verdict) if line.verdict else None
    mark = (f"{sign.shape} {sign.word:<11}", sign.role) if sign else (" " * 13, "quiet")
    return Row(
        str(index), ((f"{line.when:>8} ", "quiet"), mark, (f"{line.what:<10} ", "mark"), (line.text, "plain"))
    )


def head_text(record: RecordView) -> str:
    """Return where the record is kept, and the command that makes its report."""
    if not record.where:
        return "No record is kept of this run."
    place = record.where.removeprefix("sqlite:///")
    if not record.id:
        return f"Kept in   {place}"
    elsewhere = "" if record.where == store_url(None) else f" --store {shlex.quote(place)}"
    return f"Kept in   {place}\nReport    loomproof report {record.id} --html report.html{elsewhere}"


class RecordPage(Page):
    """The record."""

    NAME = "record"
    HELP = """\
# Record

Every step, statement, stop and finding is written down as it happens, before the next step begins. If the
console or the machine dies, at most the step under way is lost, and the job carries on from there.

The report for the customer is made from the record with the command shown on top.
"""

    def compose_body(self) -> ComposeResult:
        """Lay out the head and the lines."""
        with Pane(title="Record", id="pane-record"):
            yield Static(job_lines(self.console_app.desk.job), id="record-job", markup=False)
            yield Static(id="record-head", markup=False)
            yield RowList(id="record-lines")
            yield Static(id="record-detail", markup=False)

    def on_mount(self) -> None:
        """Follow the record."""
        super().on_mount()
        lines = self.query_one("#record-lines", RowList)
        lines.empty_text = "Nothing written yet. The first step writes the first line."
        self.follow("progress", self._show)
        lines.focus()

    @on(RowList.Highlighted, "#record-lines")
    def _detail(self) -> None:
        key = self.query_one("#record-lines", RowList).key
        record = self.console_app.progress.record
        line = record.lines[int(key)] if key is not None and int(key) < len(record.lines) else None
        self.query_one("#record-detail", Static).update(
            f"{line.when} {line.what}: {line.text}" if line else ""
        )

    def _show(self) -> None:
        record = self.console_app.progress.record
        lines = self.query_one("#record-lines", RowList)
        at_end = lines.cursor >= len(lines.rows) - 1
        lines.show([record_row(index, line) for index, line in enumerate(record.lines)])
        if at_end:
            lines.cursor = len(record.lines) - 1
        self._detail()
        self.query_one("#record-head", Static).update(head_text(record))
