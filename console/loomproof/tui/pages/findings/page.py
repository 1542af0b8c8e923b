"""The findings page: each fault that explains verdicts, where it sits and how to mend it."""

from __future__ import annotations

from collections import Counter

from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal, VerticalScroll
from textual.widgets import Static

from loomproof.facts.verdict import Verdict
from loomproof.tui.pages.findings.view import FindingEntry
from loomproof.tui.pages.frame import Deck, Page, Pane, pane_tabs
from loomproof.tui.views.channel import ChannelView
from loomproof.tui.widgets.row_list import Row, RowList
from loomproof.tui.words import verdict_sign

EMPTY = (
    "No findings so far. A finding appears when a measured channel is not as the job says: "
    "it names the fault, the header cavity and what to do."
)


def finding_text(finding: FindingEntry) -> str:
    """Return a finding in words."""
    lines = [finding.sentence, "", f"Where      {finding.where}", f"Likelihood {finding.likelihood}"]
    lines += [f"For        {_capital(text)}" for text in finding.evidence]
    lines += [f"Against    {_capital(text)}" for text in finding.against]
    if finding.remedy and finding.remedy not in finding.sentence:
        lines += ["", f"Mend       {_capital(finding.remedy)}"]
    if finding.next_measurement:
        lines += [f"To be sure {_capital(finding.next_measurement)}"]
    return "\n".join(lines)


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def tally(channels: tuple[ChannelView, ...]) -> str:
    """Return how many channels have each verdict."""
    counts = Counter(channel.verdict for channel in channels)
    return "   ".join(f"{verdict_sign(verdict)} {counts[verdict]}" for verdict in Verdict if counts[verdict])


class FindingsPage(Page):
    """Findings."""

    NAME = "findings"
    HELP = """\
# Findings

What is wrong with the loom, as far as the measurements show.

* The line on top counts the channels by verdict.
* Each finding explains one or more verdicts: choose one with **up** and **down**.
* It names the cavity, what speaks for and against it, how likely it is, how to mend it, and which further
  measurement would settle a doubt.

`unsure` means that the measured interval straddles a limit: the console does not guess.
"""

    def compose_body(self) -> ComposeResult:
        """Lay out the panes."""
        with Deck(id="findings-deck"):
            with Horizontal(classes="pane-line"):
                yield from pane_tabs("Findings", "Channels not passed")
            with Pane(title="Findings", id="pane-findings"):
                yield Static(id="tally", markup=False)
                yield RowList(id="finding-list")
                with VerticalScroll(id="finding-scroll"):
                    yield Static(id="finding-text", markup=False)
            with Pane(title="Channels not passed", id="pane-doubt"):
                yield RowList(id="doubt-list")

    def on_mount(self) -> None:
        """Follow the findings."""
        super().on_mount()
        self.query_one("#doubt-list", RowList).empty_text = "Every channel passed."
        findings = self.query_one("#finding-list", RowList)
        findings.empty_text = EMPTY
        self.follow("progress", self._show)
        findings.focus()

    def _show(self) -> None:
        progress = self.console_app.progress
        rows = self.query_one("#finding-list", RowList)
        shown = [
            Row(
                str(i),
                (("✗ ", "bad"), (f"{f.title}: ", "plain"), (f.where, "mark")),
                tail=(f.likelihood, "quiet"),
            )
            for i, f in enumerate(progress.findings)
        ]
        rows.show(shown)
        self.query_one("#tally", Static).update(tally(progress.channels))
        self.query_one("#doubt-list", RowList).show(
            [_doubt_row(c) for c in progress.channels if c.verdict != Verdict.PASS]
        )
        self._detail()

    @on(RowList.Highlighted, "#finding-list")
    def _detail(self) -> None:
        key = self.query_one("#finding-list", RowList).key
        findings = self.console_app.progress.findings
        text = finding_text(findings[int(key)]) if key is not None and int(key) < len(findings) else ""
        self.query_one("#finding-text", Static).update(text)


def _doubt_row(channel: ChannelView) -> Row:
    sign = verdict_sign(channel.verdict)
    return Row(
        str(channel.channel),
        (
            (f"{channel.channel:>2} ", "quiet"),
            (f"{sign.shape} {sign.word:<11}", sign.role),
            (f"{channel.name[:20]:<21}", "plain"),
            (channel.reason, "plain"),
        ),
    )
