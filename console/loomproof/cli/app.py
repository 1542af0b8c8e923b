"""The `loomproof` command: one typer application, one module per command."""

import sys
from importlib import import_module
from typing import Annotated

import typer

from loomproof import __version__

COMMAND_MODULES: dict[str, tuple[str, ...]] = {
    "console": ("open", "demo", "edit"),
    "check": ("check",),
    "import_pinout": ("import",),
    "web": ("web",),
    "prove": ("prove",),
    "records": ("records", "report"),
    "boxes": ("boxes",),
    "box_check": ("box-check",),
}
"""Modules of `loomproof.cli` with a `register(app)` and the commands each adds, in the order of the help."""


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


def build_app(asked: str | None = None) -> typer.Typer:
    """Return the application.

    Args:
        asked: the command that was asked for: only its module is imported, since some are slow to import.
            None, or a word that is no command: every command is registered.
    """
    app = typer.Typer(
        name="loomproof",
        help="Prove every output of a wiring loom before the first start.",
        no_args_is_help=True,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
    )
    app.callback()(_root)
    only = [module for module, commands in COMMAND_MODULES.items() if asked in commands]
    for name in only or COMMAND_MODULES:
        import_module(f"loomproof.cli.{name}").register(app)
    return app


def main() -> None:
    """Entry point of the `loomproof` console script."""
    build_app(sys.argv[1] if len(sys.argv) > 1 else None)()


if __name__ == "__main__":
    main()
