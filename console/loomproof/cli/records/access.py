"""The store as the commands open it, and how they end when it cannot be read."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import NoReturn

import typer

from loomproof.cli.exit_codes import BAD_CALL
from loomproof.records.errors import RecordError
from loomproof.records.store import RecordStore


@contextmanager
def open_store(store: str | None) -> Iterator[RecordStore]:
    """Open a store that exists. Ends the command, with the reason and the remedy, where it cannot."""
    try:
        with RecordStore(store, create=False) as opened:
            yield opened
    except RecordError as error:
        fail(error.reason, error.remedy)


def fail(reason: str, remedy: str) -> NoReturn:
    """End the command with a reason and a remedy."""
    typer.echo(printable(f"{reason} {remedy}"), err=True)
    raise typer.Exit(BAD_CALL)


def printable(text: str) -> str:
    """Replace what could steer a terminal: control characters from a job, a box or a person."""
    return "".join(c if c.isprintable() else "�" for c in text)
