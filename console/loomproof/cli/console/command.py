"""`loomproof open` and `loomproof demo`: the terminal console on a job and a box."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from loomproof.cli.console.desk_maker import DeskMaker, JobStarter, need_box, need_job
from loomproof.cli.console.desk_options import DeskOptions
from loomproof.cli.console.practice import DEMO_FAULTS, DEMO_SEED, demo_job, hands_of, own_url, sim_url
from loomproof.cli.exit_codes import BAD_CALL
from loomproof.tui.desk.protocol import StartRefusedError
from loomproof.tui.settings import SettingsKeeper, usual_path

InBrowser = Annotated[bool, typer.Option("--in-browser", hidden=True, help="Used by `loomproof web`.")]
CarryOn = Annotated[
    Path | None,
    typer.Option("--carry-on", hidden=True, help="Used by `loomproof web`: where a record's id is kept."),
]
Resume = Annotated[
    str | None, typer.Option("--resume", metavar="RECORD", help="Carry this record on (or: last).")
]
Who = Annotated[str, typer.Option("--who", help="Your name or initials, for statements and the record.")]
Where = Annotated[
    str | None,
    typer.Option("--records", metavar="WHERE", help="Where records are kept: a path or database URL."),
]


def register(app: typer.Typer) -> None:
    """Add the commands to the application."""
    app.command("open", short_help="Prove a loom: the console on a job and a box.")(open_job)
    app.command("demo", short_help="Try the console: nothing real is driven.")(demo)
    app.command("edit", short_help="Make or edit a job file, without a box.")(edit)


def open_job(
    job: Annotated[
        Path | None, typer.Argument(metavar="JOB", help="The job file (TOML). Without it: choose on a page.")
    ] = None,
    box: Annotated[
        str | None,
        typer.Option("--box", metavar="URL", help="The box: a port name or pyserial URL."),
    ] = None,
    who: Who = "",
    records: Where = None,
    resume: Resume = None,
    in_browser: InBrowser = False,
    carry_on: CarryOn = None,
) -> None:
    """Open a job in the console and prove its loom on a box; without a job, choose both on the first page.

    Exit code: 0 left in order, 2 bad job, record or call, 4 ended by a signal or a closed terminal.
    """
    if not in_browser:
        _need_terminal(job)
    if job is None and (box is not None or resume is not None):
        need_job("open")
    if job is not None and box is None:
        need_box("open", job, "; `loomproof open` alone lets you choose")
    raise typer.Exit(_run(job, box or "", who, records, resume, reading=in_browser, carry_on=carry_on))


def demo(
    job: Annotated[
        Path | None, typer.Option("--job", help="Another job than the inline-five example.")
    ] = None,
    fault: Annotated[
        list[str] | None,
        typer.Option("--fault", help="Seal in this fault, e.g. open:5."),
    ] = None,
    sound: Annotated[bool, typer.Option("--sound", help="Seal no fault in.")] = False,
    seed: Annotated[int, typer.Option("--seed", help="Draws the parts and the noise.")] = DEMO_SEED,
    who: Who = "",
    records: Where = None,
    in_browser: InBrowser = False,
    carry_on: CarryOn = None,
) -> None:
    """Try the console: an example loom on a simulated box, with a page that plays your hands.

    Nothing real is driven. The record says that it was made with a simulated box.
    """
    path = job or demo_job()
    if not in_browser:
        _need_terminal(path)
    faults: Sequence[str] = fault or (() if sound or job is not None else DEMO_FAULTS)
    url = sim_url(path, seed, faults)
    raise typer.Exit(_run(path, url, who, records, None, demo=True, reading=in_browser, carry_on=carry_on))


def edit(
    job: Annotated[
        Path | None, typer.Argument(metavar="JOB", help="The job file; one that is not there yet is begun.")
    ] = None,
    who: Who = "",
    records: Where = None,
) -> None:
    """Make or edit a job file in the console, without a box: from a template, a pin-out table, or as it is.

    Exit code: 0 left in order, 2 bad call, 4 ended by a signal or a closed terminal.
    """
    _need_terminal(None)
    raise typer.Exit(_run(None, "", who, records, None, edit=job or True))


def _need_terminal(job: Path | None) -> None:
    """Without a terminal there is no console; say what is wrong with the job, too, if something is."""
    if sys.stdin.isatty() and sys.stdout.isatty():
        return
    try:
        if job is not None:
            from loomproof.cli.console.open_desk import read_job  # noqa: PLC0415 - not for its help

            read_job(job)
    except StartRefusedError as refused:
        typer.echo(str(refused), err=True)
        raise typer.Exit(refused.code) from None
    typer.echo("The console needs a terminal. Without one use `loomproof prove`.", err=True)
    raise typer.Exit(BAD_CALL)


def _run(
    path: Path | None,
    url: str,
    who: str,
    records: str | None,
    resume: str | None,
    *,
    demo: bool = False,
    edit: Path | bool = False,
    reading: bool = False,
    carry_on: Path | None = None,
) -> int:
    from loomproof.tui.app import Console, run_console  # noqa: PLC0415 - not for its help

    settings = SettingsKeeper(usual_path())
    starter = JobStarter(who, records, settings)
    if path is None:
        edited = edit if isinstance(edit, Path) else None
        console = Console(who=who, settings=settings, starter=starter, making=bool(edit), job_path=edited)
    else:
        kept = None if demo or reading else settings
        shown, url = url, own_url(path, url)
        maker = DeskMaker(
            DeskOptions(
                job=path,
                url=url,
                who=who,
                records=records,
                resume=resume,
                settings=kept,
                shown_as=shown,
                reading=reading,
                carry_on=carry_on,
            )
        )
        starter.made.append(maker)
        hands = hands_of(url)
        console = Console(
            maker, hands=hands, welcome=demo, who=who, settings=settings, job_path=path, reading=reading
        )
    try:
        return run_console(console)
    finally:
        for maker in starter.made:
            maker.close()
