"""`loomproof report`: the report of a record, for the customer."""

from pathlib import Path
from typing import Annotated

import typer

from loomproof.cli.records.options import Replace, Where, Which


def register(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command("report", short_help="Write the customer's report of a record.")(report)


def report(
    record: Which,
    html: Annotated[Path, typer.Option("--html", metavar="FILE", help="Where to write; - for the terminal.")],
    store: Where = None,
    replace: Replace = False,
) -> None:
    """Write the report of a record: one HTML file that needs nothing else and prints on A4.

    Exit code 2: it could not be done.
    """
    from loomproof.cli.records.files import write_record  # noqa: PLC0415 - not for its help
    from loomproof.records.report.page import html as render  # noqa: PLC0415 - not for its help

    write_record(record, store, html, render, replace=replace)
