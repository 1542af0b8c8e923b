"""The `loomproof` command: a table of commands, each loaded when it is asked for."""

from importlib import import_module
from typing import Annotated, NamedTuple

import typer
from typer.core import TyperGroup

from loomproof import __version__


class Command(NamedTuple):
    """Where a command is, and its line in the help. The module has `register(app)`."""

    module: str
    help: str


COMMANDS = {
    "open": Command("console.command", "Prove a loom: the console on a job and a box."),
    "demo": Command("console.command", "Try the console: nothing real is driven."),
    "edit": Command("console.command", "Make or edit a job file, without a box."),
    "check": Command("check", "Check a job file, or list all that is wrong."),
    "import": Command("import_pinout", "Make a job file from a CSV or XLSX pin-out."),
    "web": Command("web.command", "Serve the console to a browser for the walk."),
    "prove": Command("prove.command", "Prove a loom on a plain terminal."),
    "report": Command("report", "Write the customer's report of a record."),
    "boxes": Command("boxes", "List serial ports and the boxes that answer."),
    "box-check": Command("box_check.command", "Does a box keep the protocol's guarantees?"),
    "records": Command("records.command", "List, show and export what was proven."),
}
"""The only place where the command line imports by name; everything else stands at the top of its file."""


class Commands(TyperGroup):
    """The table as a group: listing it loads nothing."""

    def list_commands(self, ctx: typer.Context) -> list[str]:  # type: ignore[override]
        """Every name, in the order of the help."""
        return list(COMMANDS)

    def get_command(self, ctx: typer.Context, cmd_name: str):  # type: ignore[no-untyped-def,override] # noqa: ANN201
        """Load one command."""
        row = COMMANDS.get(cmd_name)
        if row is None:
            return None
        app = typer.Typer(rich_markup_mode=None, pretty_exceptions_enable=False)
        import_module(f"loomproof.cli.{row.module}").register(app)
        return typer.main.get_group(app).commands[cmd_name]

    def format_commands(self, ctx: typer.Context, formatter) -> None:  # type: ignore[no-untyped-def,override] # noqa: ANN001
        """The help's list, from the table."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, row.help) for name, row in COMMANDS.items()])


def _tell_version(asked: bool) -> None:
    if asked:
        typer.echo(f"loomproof {__version__}")
        raise typer.Exit


def _root(
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_tell_version, is_eager=True, help="Say which version this is and end."
        ),
    ] = False,
) -> None:
    """Prove every output of a wiring loom before the first start."""


def build_app() -> typer.Typer:
    """Return the application."""
    app = typer.Typer(
        name="loomproof",
        cls=Commands,
        help="Prove every output of a wiring loom before the first start.",
        no_args_is_help=True,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
    )
    app.callback()(_root)
    return app


def main() -> None:
    """Entry point of the `loomproof` console script."""
    build_app()()


if __name__ == "__main__":
    main()
