"""`loomproof records`: the commands' signatures. Their work loads when one of them runs."""

from pathlib import Path
from typing import Annotated

import typer

from loomproof.cli.records.options import Replace, Where, Which


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
    from loomproof.cli.records.listing import print_list  # noqa: PLC0415 - not for its help

    print_list(store)


def show(record: Which, store: Where = None) -> None:
    """Show one record: what was done, what came of it, and whether it is as it was written.

    Exit code: 0 the hash chain holds, 1 it is broken, 2 there is no such record.
    """
    from loomproof.cli.records.overview import print_record  # noqa: PLC0415 - not for its help

    print_record(record, store)


def export(
    record: Which,
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="Where to write; - for the terminal.")],
    store: Where = None,
    replace: Replace = False,
) -> None:
    """Write one whole record as JSON, raw counts included. Exit code 2: it could not be done."""
    from loomproof.cli.records.files import write_json  # noqa: PLC0415 - not for its help

    write_json(record, store, out, replace=replace)
