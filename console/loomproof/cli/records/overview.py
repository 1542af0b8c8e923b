"""One record as tables on a terminal."""

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from loomproof.cli.exit_codes import BROKEN_CHAIN
from loomproof.cli.records.failures import failures_printed
from loomproof.cli.records.tables import SIGNS, add_row, new_table, printable
from loomproof.records.integrity import DOES_NOT_PROVE, PROVES
from loomproof.records.record import Record, StepRecord
from loomproof.records.store import RecordStore


def print_record(record: str, store: str | None) -> None:
    """Print one record, and end with 1 where its chain is broken."""
    with failures_printed(), RecordStore(store, create=False) as opened:
        found = opened.read(record)
    console = Console(highlight=False)
    for line in _heading(found):
        console.print(Text(printable(line)), soft_wrap=True)
    console.print(_channels(found))
    for finding in found.findings.findings if found.findings else ():
        mend = "" if finding.remedy in finding.sentence else f" Remedy: {finding.remedy}"
        console.print(Text(printable(f"Finding: {finding.sentence}{mend}")), soft_wrap=True)
    console.print(_steps(found))
    for entry, body in found.statements:
        console.print(
            Text(printable(f"{entry.at:%H:%M:%S} {body.who} stated: {body.sentence}")), soft_wrap=True
        )
    for entry, event in found.events:
        console.print(Text(printable(f"{entry.at:%H:%M:%S} {event.kind}: {event.text}")), soft_wrap=True)
    _print_chain(console, found)
    if not found.chain.holds:
        raise typer.Exit(BROKEN_CHAIN)


def _heading(record: Record) -> list[str]:
    begun, finished = record.begun, record.finished
    box = begun.box
    lines = ["SIMULATED BOX: this record says nothing about a real loom."] if record.simulated else []
    verdict = finished.verdict if finished else "open"
    return [
        *lines,
        f"Record {record.record_id}: {verdict}"
        + (f" ({finished.note})" if finished and finished.note else ""),
        f"{begun.identity.title}, job {begun.identity.job_number}"
        + (f", for {begun.identity.customer}" if begun.identity.customer else ""),
        f"Begun {record.entries[0].at:%Y-%m-%d %H:%M:%S} UTC by {', '.join(record.operators)}; "
        f"box {box.board} {box.serial_number}, calibrated {box.calibrated_on or 'never, or not said'}",
    ]


def _channels(record: Record) -> Table:
    table = new_table("Ch", "Name", "Cavity", "Location", "Verdict")
    verdicts = record.findings.channel_verdicts if record.findings else {}
    for fact in record.begun.channels:
        word = verdicts.get(fact.channel, "not tested") if fact.fitted else "not fitted"
        sign = f"{SIGNS.get(word, '?')} {word}"
        add_row(table, str(fact.channel), fact.name, fact.cavity, fact.location, sign)
    return table


def _steps(record: Record) -> Table:
    table = new_table("Time", "Step", "Try", "Ended", "Verdict", "Traces", "Remarks")
    table.columns[1].min_width = 26
    for step in record.steps:
        add_row(
            table,
            f"{step.began_at:%H:%M:%S}",
            step.title,
            str(step.attempt),
            _end(step),
            f"{SIGNS.get(step.verdict, '?')} {step.verdict}",
            str(len(step.traces)),
            "; ".join(x for x in (step.ended.skipped_reason, step.ended.note) if x) if step.ended else "",
        )
    return table


def _end(step: StepRecord) -> str:
    return str(step.ended.outcome.get("end") or "done") if step.ended else step.state


def _print_chain(console: Console, record: Record) -> None:
    style = "" if record.chain.holds else "bold reverse"
    console.print(Text(printable(record.chain.text), style=style), soft_wrap=True)
    console.print(Text(f"Digest {record.chain.head_digest}"), soft_wrap=True)
    console.print(Text(f"{PROVES} {DOES_NOT_PROVE}", style="dim"))
