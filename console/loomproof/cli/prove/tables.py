"""What `loomproof prove` prints: the steps as they end, the table of channels, the findings."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from loomproof.diagnose.faults.words import likelihood_text, together_text
from loomproof.facts.finding import Finding
from loomproof.facts.step import StepEnd
from loomproof.facts.verdict import Property, PropertyVerdict, Verdict, channel_verdict
from loomproof.job.model import Job
from loomproof.procedure.step import Step
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.records.report.words import COVERAGE_FACTOR, expanded
from loomproof.safety.cautions import opening_cautions
from loomproof_wire import messages

STYLE = {Verdict.PASS: "green", Verdict.FAIL: "bold red", Verdict.UNSURE: "yellow"}


def print_opening(console: Console, job: Job, box: messages.Identity, operator: str) -> None:
    """Which job, which box, who, and the cautions that always hold.

    Args:
        console: where it is printed.
        job: the job.
        box: what the box says of itself.
        operator: the name for the record; empty: not named.
    """
    kind = "simulated box" if box.simulated else "box"
    console.print(Text(f"{job.identity.job_number}  {job.identity.title}  ({job.setting})", style="bold"))
    console.print(
        Text(f"{kind} {box.board}, serial {box.serial_number}; operator: {operator or 'not named'}")
    )
    for caution in opening_cautions():
        console.print(Text(str(caution)))


def print_step(console: Console, step: Step, outcome: StepOutcome) -> None:
    """One line for a step, and one for each problem."""
    line = Text(f"{step.phase.name.lower():9}")
    line.append(f"{outcome.verdict:11}", style=STYLE.get(outcome.verdict, ""))
    line.append(step.title)
    if outcome.end is not StepEnd.DONE:
        line.append(f"  [{outcome.end}]")
    if outcome.noticed != "not asked":
        line.append(f"  ({outcome.noticed})")
    console.print(line)
    if outcome.note:
        console.print(Text(f"{'':20}{outcome.note}", style="dim"))
    for problem in outcome.problems:
        console.print(Text(f"{'':20}{problem}"))


def print_result(
    console: Console, job: Job, verdicts: Sequence[PropertyVerdict], findings: Sequence[Finding]
) -> None:
    """The table of channels, then every finding.

    Args:
        console: where it is printed.
        job: the job.
        verdicts: of every property of every channel.
        findings: the most likely first.
    """
    table = Table(show_edge=False, pad_edge=False)
    for heading in ("Ch", "Cavity", "Name", "Verdict", "Measured", "Why"):
        table.add_column(heading, overflow="fold")
    for entry in sorted(job.channels, key=lambda channel: channel.channel):
        verdict = channel_verdict(verdicts, entry.channel) if entry.fitted else Verdict.NOT_FITTED
        own = [v for v in verdicts if v.channel == entry.channel]
        table.add_row(
            Text(str(entry.channel)),
            Text(entry.cavity),
            Text(entry.name),
            Text(str(verdict), style=STYLE.get(verdict, "")),
            Text(_measured(own)),
            Text(_why(own)),
        )
    console.print()
    console.print(table)
    console.print()
    if not findings:
        console.print("No findings.")
    for number, finding in enumerate(findings, start=1):
        console.print(
            Text(
                f"{number}. {finding.sentence} (likelihood {likelihood_text(finding.likelihood)})",
                style="bold",
            )
        )
        if finding.remedy not in finding.sentence:
            console.print(Text(f"   mend: {finding.remedy}"))
        for line in finding.evidence_for:
            console.print(Text(f"   for: {line}"))
        if together := together_text(finding):
            console.print(Text(f"   {together}"))


def print_end(
    console: Console, verdict: Verdict, outcomes: Sequence[StepOutcome], record_id: str, report: Path | None
) -> None:
    """The verdict in one line, and where the record is.

    Args:
        console: where it is printed.
        verdict: of the whole loom.
        outcomes: of every attempt at every step.
        record_id: the record.
        report: the report's file; None: no report was written.
    """
    console.print()
    console.print(Text(f"Verdict: {verdict}", style=STYLE.get(verdict, "bold")))
    ends = {outcome.step_id: outcome.end for outcome in outcomes}
    for end in (StepEnd.STOPPED, StepEnd.LINK_LOST, StepEnd.SUPPLY_LOST, StepEnd.LEFT, StepEnd.BLOCKED):
        count = sum(1 for found in ends.values() if found is end)
        if count:
            console.print(f"{count} {'step' if count == 1 else 'steps'} ended: {end}")
    if report is not None:
        console.print(Text(f"Record {record_id}; report: {report}"))


def _measured(verdicts: Sequence[PropertyVerdict]) -> str:
    for wanted in (Property.RESISTANCE, Property.INRUSH, Property.CONTINUITY):
        for verdict in verdicts:
            if verdict.property is wanted and verdict.measured is not None:
                value = verdict.measured
                return f"{expanded(value.value, COVERAGE_FACTOR * value.u)} {verdict.unit}"
    return ""


def _why(verdicts: Sequence[PropertyVerdict]) -> str:
    """The reason of the worst property."""
    for worst in (Verdict.FAIL, Verdict.UNSURE, Verdict.NOT_TESTED):
        for verdict in verdicts:
            if verdict.verdict is worst:
                return f"{verdict.property}: {verdict.reason}"
    return ""
