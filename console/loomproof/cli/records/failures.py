"""How a command about records ends when it cannot do its work."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import NoReturn

import typer

from loomproof.cli.exit_codes import BAD_CALL
from loomproof.cli.records.tables import printable
from loomproof.records.errors import RecordError


@contextmanager
def failures_printed() -> Iterator[None]:
    """End the command with the reason and the remedy of what goes wrong with a store."""
    try:
        yield
    except RecordError as error:
        fail(error.reason, error.remedy)


def fail(reason: str, remedy: str) -> NoReturn:
    """End the command with a reason and a remedy."""
    typer.echo(printable(f"{reason} {remedy}"), err=True)
    raise typer.Exit(BAD_CALL)
