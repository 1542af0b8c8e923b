"""`loomproof import`: from a pin-out table to a commented job file."""

import shlex
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, NoReturn

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from loomproof.cli.exit_codes import BAD_CALL
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.file.loading import JobError, Problem, parse_job
from loomproof.job.pinout.columns import Choices, ColumnFact
from loomproof.job.pinout.draft import PinoutDraft
from loomproof.job.pinout.job_text import pinout_job_text
from loomproof.job.pinout.outputs import draft_pinout
from loomproof.job.pinout.sheet import PinoutError
from loomproof.job.pinout.table_file import read_sheet
from loomproof.job.problem import nearest
from loomproof.job.templates import TEMPLATES, Template


def register(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command("import", short_help="Make a job file from a CSV or XLSX pin-out.")(import_pinout)


def _list_templates(name: str | None) -> str | None:
    """Answer `--template list` before the table is asked for."""
    if name == "list":
        for template in TEMPLATES.values():
            typer.echo(f"{template.name:<20}{template.words}")
        raise typer.Exit
    return name


def import_pinout(
    pinout: Annotated[Path, typer.Argument(metavar="PINOUT", help="The pin-out: a .csv or .xlsx table.")],
    out: Annotated[
        Path, typer.Option("--out", metavar="JOB", help="The job file to write; never overwritten.")
    ],
    sheet: Annotated[
        str | None, typer.Option("--sheet", metavar="NAME", help="Sheet of the workbook.")
    ] = None,
    column: Annotated[
        list[str] | None,
        typer.Option(
            "--column", metavar="FACT=COLUMN", help="E.g. cavity=Pin, wire=C, feed=- (no such column)."
        ),
    ] = None,
    header_row: Annotated[
        int | None, typer.Option("--header-row", metavar="ROW", help="Row with the headings; 0: none.", min=0)
    ] = None,
    load: Annotated[
        list[str] | None,
        typer.Option(
            "--load", metavar="WORDS=TYPE", help="Settle what words mean, e.g. injector=injector_high."
        ),
    ] = None,
    template: Annotated[
        str | None,
        typer.Option(
            "--template",
            metavar="NAME",
            help="Setting and engine; `list` lists them.",
            callback=_list_templates,
            is_eager=True,
        ),
    ] = None,
    title: Annotated[
        str | None, typer.Option("--title", help="What the loom is; by default the file's name.")
    ] = None,
    job_number: Annotated[str, typer.Option("--job-number", help="The shop's own number.")] = "to be given",
) -> None:
    """Make a job file from a pin-out table (CSV or XLSX), with a comment at everything that was guessed.

    What each column is taken for is printed with the reason, and every row that is to be settled, was guessed or
    was left out. A load that the table leaves open is never chosen: the file is written and is not sound until
    someone settles it.

    Exit code: 0 the job written is sound, 2 it is not yet, or nothing was written.
    """
    console = Console(highlight=False)
    chosen = _template(template)
    choices = _choices(column, header_row, load)
    if out.exists():
        _refuse(f"{out} is there already and is not overwritten: give another name to --out")
    try:
        data = pinout.read_bytes()
    except OSError as error:
        _refuse(f"{pinout}: {error.strerror or error}")
    try:
        draft = draft_pinout(read_sheet(data, pinout.name, sheet), choices)
    except PinoutError as error:
        _refuse(f"{pinout}: {error.reason}; {error.remedy}")
    text = pinout_job_text(
        draft,
        title=title or pinout.stem or "loom",
        job_number=job_number,
        source=pinout.name,
        template=chosen,
    )
    _print_draft(console, pinout, draft)
    if not draft.lines:
        _refuse("Nothing was written: no row of the table is an output.")
    problems = _problems(text)
    try:
        with out.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as error:
        _refuse(f"{out} could not be written: {error.strerror or error}")
    _print_outcome(console, out, draft, problems)
    if problems or draft.to_settle:
        raise typer.Exit(BAD_CALL)


def _refuse(text: str) -> NoReturn:
    typer.echo(text, err=True)
    raise typer.Exit(BAD_CALL)


def _template(name: str | None) -> "Template | None":

    if name is None:
        return None
    if name not in TEMPLATES:
        _refuse(f"There is no template `{name}`: {nearest(name, TEMPLATES)}")
    return TEMPLATES[name]


def _choices(
    columns: "Sequence[str] | None", header_row: int | None, loads: "Sequence[str] | None"
) -> "Choices":

    by_fact = {}
    for said in columns or ():
        name, mark, column = said.partition("=")
        if not mark or not column.strip() or name.strip() not in set(ColumnFact):
            facts = ", ".join(ColumnFact)
            _refuse(f"--column {said}: write FACT=COLUMN, where FACT is one of {facts}")
        by_fact[ColumnFact(name.strip())] = column.strip()
    by_words = {}
    for said in loads or ():
        text, mark, key = said.rpartition("=")
        if not mark or not text.strip():
            _refuse(f"--load {said}: write WORDS=TYPE, such as injector=injector_high")
        if key.strip() not in CATALOGUE:
            _refuse(
                f"--load {said}: there is no load type `{key.strip()}`: {nearest(key.strip(), CATALOGUE)}"
            )
        by_words[text.strip()] = key.strip()
    return Choices(by_fact, header_row, by_words)


def _problems(text: str) -> "tuple[Problem, ...]":

    try:
        parse_job(text)
    except JobError as error:
        return error.problems
    return ()


def _print_draft(console: "Console", path: Path, draft: "PinoutDraft") -> None:

    def table(title: str, *headings: str) -> Table:
        made = Table(show_edge=False, pad_edge=False, title=Text(title, style="bold"), title_justify="left")
        for heading in headings:
            made.add_column(heading, overflow="fold")
        return made

    header = draft.matching.header_row
    where = "no heading row" if header is None else f"headings in row {header}"
    console.print(Text(f"{path}: {draft.sheet.how}, {where}", style="bold"), soft_wrap=True)
    columns = table(
        "What each column is taken for (--column FACT=COLUMN changes it)", "Fact", "Column", "Why"
    )
    for match in draft.matching.matches:
        label = "" if match.column is None else match.column.label
        columns.add_row(Text(match.fact), Text(label), Text(match.why))
    for column in draft.matching.unused:
        columns.add_row(
            Text("not used"),
            Text(column.label),
            Text("the job file has no place for it, or its heading names nothing known"),
        )
    console.print(columns)
    if draft.remarks:
        remarks = table("To settle, and to look at", "Row", "Column", "", "Reason", "Remedy")
        for remark in draft.remarks:
            row = "" if remark.row is None else str(remark.row)
            remarks.add_row(
                *(Text(cell) for cell in (row, remark.column, remark.weight, remark.reason, remark.remedy))
            )
        console.print(remarks)
    if draft.left_out:
        left = table("Rows left out", "Row", "Why", "Text")
        for entry in draft.left_out:
            left.add_row(Text(str(entry.row)), Text(entry.reason), Text(entry.text))
        console.print(left)


def _print_outcome(
    console: "Console", out: Path, draft: "PinoutDraft", problems: "Sequence[Problem]"
) -> None:

    word = "output" if len(draft.lines) == 1 else "outputs"
    if not problems and not draft.to_settle:
        console.print(
            Text(
                f"{out}: written, {len(draft.lines)} {word}, sound. Compare it with the wiring diagram.",
                style="bold",
            ),
            soft_wrap=True,
        )
        return
    console.print(
        Text(f"{out}: written, {len(draft.lines)} {word}, not sound yet.", style="bold"), soft_wrap=True
    )
    for problem in problems:
        console.print(Text(f"  {problem}"), soft_wrap=True)
    console.print(
        Text(f"Settle what is listed above in the file, then run: loomproof check {shlex.quote(str(out))}"),
        soft_wrap=True,
    )
