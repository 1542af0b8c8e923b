"""The `loomproof` command: one typer application, one module per command."""

from importlib import import_module

import typer

COMMAND_MODULES: tuple[str, ...] = ("console", "check", "prove", "records", "boxes", "box_check")
"""Modules of `loomproof.cli` with a `register(app)`, in the order their commands are listed in the help."""


def _root() -> None:
    """Prove every output of a wiring loom before the first start."""


def build_app() -> typer.Typer:
    """Return the application with every command registered."""
    app = typer.Typer(
        name="loomproof",
        help="Prove every output of a wiring loom before the first start.",
        no_args_is_help=True,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
    )
    app.callback()(_root)
    for name in COMMAND_MODULES:
        import_module(f"loomproof.cli.{name}").register(app)
    return app


def main() -> None:
    """Entry point of the `loomproof` console script."""
    build_app()()


if __name__ == "__main__":
    main()
