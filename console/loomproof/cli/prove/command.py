"""`loomproof prove`: the whole run sheet without the full-screen console, against any box.

Exit codes: 0 every channel passed; 1 faults found, unsure, or something not tested; 2 bad job or usage; 3
no link to the box, or lost; 4 blocked by an interlock, stopped, or left.
"""

from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from loomproof.cli.prove.options import Code, Options, Who
from loomproof.cli.simulated_address import completed, is_simulated


def register(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command("prove", short_help="Prove a loom on a plain terminal.")(prove)


def prove(
    job: Annotated[Path, typer.Argument(metavar="JOB", help="The job file (TOML).")],
    box: Annotated[str, typer.Option("--box", help="Port or URL of the box; sim:// for a simulated one.")],
    operator: Annotated[Who, typer.Option("--operator", help="Who answers the prompts.")] = Who.ASK,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for the record and the report.", file_okay=False)
    ] = None,
    hands: Annotated[
        str | None, typer.Option("--hands", metavar="HOST:PORT", help="Hands of a served simulated box.")
    ] = None,
    name: Annotated[str, typer.Option("--name", help="Name or initials for the record.")] = "",
    resume: Annotated[
        str | None, typer.Option("--resume", metavar="RECORD", help="Carry on a record in --out.")
    ] = None,
    loom: Annotated[
        str | None, typer.Option("--loom", metavar="SERIAL", help="Serial number of this very loom.")
    ] = None,
    baseline: Annotated[
        str | None,
        typer.Option(
            "--baseline",
            metavar="RECORD",
            help="Compare with this record of the same loom in --out; by default the newest one of its serial.",
        ),
    ] = None,
    walk: Annotated[
        bool,
        typer.Option("--walk", help="Find the places on one hands-free walk, not connector by connector."),
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Only the final tables.")] = False,
) -> None:
    """Work a job's whole run sheet on a plain terminal and print what was found.

    Exit code: 0 every channel passed; 1 faults found, unsure or not tested; 2 bad job or usage; 3 no link to
    the box; 4 blocked by an interlock, stopped or left.
    """
    from loomproof.cli.prove.run import Run  # noqa: PLC0415 - not for its help
    from loomproof.job.file.loading import JobError, load_job  # noqa: PLC0415 - not for its help

    console = Console(highlight=False)
    try:
        loaded = load_job(job)
    except JobError as error:
        console.print(f"{job}: {error}\nloomproof check {job} shows every problem.", markup=False)
        raise typer.Exit(Code.USAGE) from None
    url = box_url(box, job, operator)
    if loom is not None:
        identity = loaded.identity.model_copy(update={"serial": loom})
        loaded = loaded.model_copy(update={"identity": identity})
    options = Options(operator, out, hands, name, resume, walk, baseline)
    raise typer.Exit(Run(console, loaded, job.read_text(encoding="utf-8"), url, options, quiet=quiet).work())


def box_url(box: str, job: Path, operator: Who) -> str:
    """The box's URL; a simulated one gets the job, a name for its hands, and virtual time if nobody asks."""
    if not is_simulated(box):
        return box
    url = completed(box, job, {"clock": "virtual"} if operator is Who.SIMULATED else {})
    return completed(url, job, {"name": f"prove-{abs(hash(url))}"})
