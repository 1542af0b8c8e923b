"""A record written to a file: as JSON, or as the customer's report."""

from collections.abc import Callable
from pathlib import Path

import typer

from loomproof.cli.records.failures import fail, failures_printed
from loomproof.records.export import to_json
from loomproof.records.record import Record
from loomproof.records.store import RecordStore


def write_json(record: str, store: str | None, out: Path, *, replace: bool) -> None:
    """Write one whole record as JSON.

    Args:
        record: its id, the beginning of it, or `last`.
        store: place or URL of the store; None: the usual one.
        out: the file; `-` for the terminal.
        replace: whether an existing file may be written over.
    """
    write_record(record, store, out, to_json, replace=replace)


def write_record(
    record: str, store: str | None, out: Path, render: Callable[[Record], str], *, replace: bool
) -> None:
    """Write a record to a file, or to the terminal.

    Args:
        record: its id, the beginning of it, or `last`.
        store: place or URL of the store; None: the usual one.
        out: the file; `-` for the terminal.
        render: makes the text.
        replace: whether an existing file may be written over.

    Raises:
        typer.Exit: it could not be done; the reason is printed.
    """
    with failures_printed(), RecordStore(store, create=False) as opened:
        found = opened.read(record)
    text = render(found)
    if str(out) == "-":
        typer.echo(text, nl=False)
        return
    try:
        with out.open("w" if replace else "x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        fail(f"{out} is there already.", "Name another file, or say --replace.")
    except OSError as error:
        fail(f"{out} cannot be written: {error.strerror}.", "Name a file in a folder you may write to.")
    typer.echo(f"wrote {out}")
    if not found.chain.holds:
        typer.echo(f"Mind: {found.chain.text}", err=True)
