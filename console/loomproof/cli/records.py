"""`loomproof records` and `loomproof report`: what was proven, looked up, handed on and printed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from loomproof.records.errors import RecordError
from loomproof.records.export import to_json
from loomproof.records.integrity import DOES_NOT_PROVE, PROVES
from loomproof.records.record import Record, StepRecord
from loomproof.records.store import RecordStore

BROKEN_CHAIN = 1
"""Exit code when a record was altered after it was written."""
CANNOT = 2
"""Exit code when there is no such record or store, or a file may not be written."""

Where = Annotated[
    str | None,
    typer.Option(
        "--store",
        metavar="PLACE",
        help="Path or URL of the record store. Else $LOOMPROOF_RECORDS, else the user's data directory.",
    ),
]
Which = Annotated[
    str, typer.Argument(metavar="RECORD", help="A record's id, the beginning of it, or `last`.")
]
Replace = Annotated[bool, typer.Option("--replace", help="Write over a file that is there already.")]

_SIGNS = {"pass": "✓", "fail": "✗", "unsure": "?", "not tested": "·", "not fitted": "-"}


def register(app: typer.Typer) -> None:
    """Add the commands to the application."""
    records = typer.Typer(no_args_is_help=False, rich_markup_mode=None)
    records.callback(invoke_without_command=True)(_records)
    records.command("list")(list_records)
    records.command("show")(show)
    records.command("export")(export)
    app.add_typer(records, name="records", help="List, show and export what was proven.")


def _records(context: typer.Context, store: Where = None) -> None:
    """List, show and export what was proven. Without a command: the list."""
    if context.invoked_subcommand is None:
        list_records(store)


def list_records(store: Where = None) -> None:
    """List every record, the latest first. Exit code 2: there is no store."""
    with _open(store) as opened:
        summaries = opened.list()
    console = Console(highlight=False)
    if not summaries:
        console.print("No record yet.")
        return
    table = _table("Record", "Begun (UTC)", "Job", "Title", "By", "Verdict")
    for column in (0, 1, 5):
        table.columns[column].no_wrap = True
    for s in summaries:
        verdict = f"{_SIGNS.get(s.verdict, '')} {s.verdict}".strip() if s.verdict else "open"
        title = f"SIMULATED  {s.title}" if s.simulated else s.title
        _row(table, s.record_id, f"{s.begun_at:%Y-%m-%d %H:%M}", s.job_number, title, s.operator, verdict)
    console.print(table)


def show(record: Which, store: Where = None) -> None:
    """Show one record: what was done, what came of it, and whether it is as it was written.

    Exit code: 0 the hash chain holds, 1 it is broken, 2 there is no such record.
    """
    with _open(store) as opened:
        found = opened.read(record)
    console = Console(highlight=False)
    for line in _heading(found):
        console.print(Text(_plain(line)), soft_wrap=True)
    console.print(_channels(found))
    for finding in found.findings.findings if found.findings else ():
        mend = "" if finding.remedy in finding.sentence else f" Remedy: {finding.remedy}"
        console.print(Text(_plain(f"Finding: {finding.sentence}{mend}")), soft_wrap=True)
    console.print(_steps(found))
    for entry, body in found.statements:
        console.print(Text(_plain(f"{entry.at:%H:%M:%S} {body.who} stated: {body.sentence}")), soft_wrap=True)
    for entry, event in found.events:
        console.print(Text(_plain(f"{entry.at:%H:%M:%S} {event.kind}: {event.text}")), soft_wrap=True)
    _print_chain(console, found)
    if not found.chain.holds:
        raise typer.Exit(BROKEN_CHAIN)


def export(
    record: Which,
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="Where to write; - for the terminal.")],
    store: Where = None,
    replace: Replace = False,
) -> None:
    """Write one whole record as JSON, raw counts included. Exit code 2: it could not be done."""
    _write(record, store, out, to_json, replace=replace)


def _write(
    record: str, store: str | None, out: Path, render: Callable[[Record], str], *, replace: bool
) -> None:
    with _open(store) as opened:
        found = opened.read(record)
    text = render(found)
    if str(out) == "-":
        typer.echo(text, nl=False)
        return
    try:
        with out.open("w" if replace else "x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        _fail(f"{out} is there already.", "Name another file, or say --replace.")
    except OSError as error:
        _fail(f"{out} cannot be written: {error.strerror}.", "Name a file in a folder you may write to.")
    typer.echo(f"wrote {out}")
    if not found.chain.holds:
        typer.echo(f"Mind: {found.chain.text}", err=True)


@contextmanager
def _open(store: str | None) -> Iterator[RecordStore]:

    try:
        with RecordStore(store, create=False) as opened:
            yield opened
    except RecordError as error:
        _fail(error.reason, error.remedy)


def _fail(reason: str, remedy: str) -> None:
    typer.echo(_plain(f"{reason} {remedy}"), err=True)
    raise typer.Exit(CANNOT)


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
    table = _table("Ch", "Name", "Cavity", "Location", "Verdict")
    verdicts = record.findings.channel_verdicts if record.findings else {}
    for fact in record.begun.channels:
        word = verdicts.get(fact.channel, "not tested") if fact.fitted else "not fitted"
        sign = f"{_SIGNS.get(word, '?')} {word}"
        _row(table, str(fact.channel), fact.name, fact.cavity, fact.location, sign)
    return table


def _steps(record: Record) -> Table:
    table = _table("Time", "Step", "Try", "Ended", "Verdict", "Traces", "Remarks")
    table.columns[1].min_width = 26
    for step in record.steps:
        _row(
            table,
            f"{step.began_at:%H:%M:%S}",
            step.title,
            str(step.attempt),
            _end(step),
            f"{_SIGNS.get(step.verdict, '?')} {step.verdict}",
            str(len(step.traces)),
            "; ".join(x for x in (step.ended.skipped_reason, step.ended.note) if x) if step.ended else "",
        )
    return table


def _end(step: StepRecord) -> str:
    return str(step.ended.outcome.get("end") or "done") if step.ended else step.state


def _print_chain(console: Console, record: Record) -> None:

    style = "" if record.chain.holds else "bold reverse"
    console.print(Text(_plain(record.chain.text), style=style), soft_wrap=True)
    console.print(Text(f"Digest {record.chain.head_digest}"), soft_wrap=True)
    console.print(Text(f"{PROVES} {DOES_NOT_PROVE}", style="dim"))


def _table(*headings: str) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading in headings:
        table.add_column(heading)
    return table


def _row(table: Table, *cells: str) -> None:
    table.add_row(*(Text(_plain(cell)) for cell in cells))


def _plain(text: str) -> str:
    """Replace what could steer a terminal: control characters from a job, a box or a person."""
    return "".join(c if c.isprintable() else "�" for c in text)
