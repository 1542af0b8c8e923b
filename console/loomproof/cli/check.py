"""`loomproof check`: is a job file sound, and what does it say."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from loomproof.cli.exit_codes import BAD_CALL
from loomproof.job.file.loading import JobError, Problem, job_digest, load_job
from loomproof.job.model import Job
from loomproof.job.overview import engine_text, overview
from loomproof.job.schema import job_schema_text


def register(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command("check", short_help="Check a job file, or list all that is wrong.")(check)


def check(
    job: Annotated[Path | None, typer.Argument(metavar="JOB", help="The job file (TOML).")] = None,
    schema: Annotated[
        bool, typer.Option("--schema", help="Print the JSON Schema of job files, for editors.")
    ] = False,
) -> None:
    """Check a job file and show what it says, or everything that is wrong with it and how to mend it.

    Exit code: 0 the file is sound, 2 it is not.
    """
    if schema:
        typer.echo(job_schema_text(), nl=False)
        return
    if job is None:
        raise typer.BadParameter("name a job file, or ask for --schema", param_hint="JOB")
    console = Console(highlight=False)
    try:
        loaded = load_job(job)
    except JobError as error:
        _print_problems(console, job, error.problems)
        raise typer.Exit(BAD_CALL) from None
    _print_job(console, job, loaded)


def _print_problems(console: Console, path: Path, problems: Sequence[Problem]) -> None:
    word = "problem" if len(problems) == 1 else "problems"
    console.print(Text(f"{path}: {len(problems)} {word}", style="bold"), soft_wrap=True)
    table = _table("Line", "Key", "Reason", "Remedy")
    table.columns[0].justify = "right"
    for problem in problems:
        line = "" if problem.line is None else str(problem.line)
        _row(table, line, problem.key, problem.reason, problem.remedy)
    console.print(table)


def _print_job(console: Console, path: Path, job: Job) -> None:
    console.print(Text(f"{path}: sound", style="bold"), soft_wrap=True)
    identity = job.identity
    heading = f"{identity.job_number}  {identity.title}  ({job.setting})  digest {job_digest(job)[:12]}"
    console.print(Text(heading))
    if job.engine is not None:
        console.print(Text(engine_text(job.engine)))
    table = _table("Ch", "Name", "Cavity", "Wire", "Load", "Location", "Hazard", "Wire Ω")
    for index in (0, 7):
        table.columns[index].justify = "right"
    for index in (2, 3, 4, 6, 7):
        table.columns[index].no_wrap = True
    for channel in sorted(job.channels, key=lambda channel: channel.channel):
        number = channel.channel
        location = job.location_of(number)
        _row(
            table,
            str(number),
            channel.name,
            channel.cavity,
            channel.wire or "",
            channel.load if channel.fitted else "not fitted",
            "" if location is None else location.name,
            job.load_type(number).hazard,
            f"{job.wire_ohm(number):.3f}",
        )
    console.print(table)
    for said in overview(job):
        table = _table(*said.headings)
        for row in said.rows:
            _row(table, *row)
        console.print()
        console.print(table)


def _table(*headings: str) -> Table:
    table = Table(show_edge=False, pad_edge=False)
    for heading in headings:
        table.add_column(heading, overflow="fold")
    return table


def _row(table: Table, *cells: str) -> None:
    """Add a row of plain text: what a file says is never read as markup."""
    table.add_row(*(Text(cell) for cell in cells))
