"""What makes the console's desk once the first picture stands; light, since it is loaded before it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NoReturn

import typer

from loomproof.cli.console.desk_options import DeskOptions
from loomproof.cli.console.practice import (
    DEMO_FAULTS,
    DEMO_SEED,
    DemoHands,
    demo_job,
    hands_of,
    own_url,
    sim_url,
)
from loomproof.cli.exit_codes import BAD_CALL
from loomproof.tui.desk.protocol import SIMULATED_BOX, Desk, LoomHands, MakeDesk
from loomproof.tui.settings import SettingsKeeper


def need_job(command: str) -> NoReturn:
    """Refuse a call that names a box or a record but no job."""
    typer.echo(f"Name the job: loomproof {command} JOB --box URL", err=True)
    raise typer.Exit(BAD_CALL)


def need_box(command: str, job: Path, otherwise: str = "") -> NoReturn:
    """Refuse a call that names a job but no box."""
    typer.echo(
        f"Name the box as well: loomproof {command} {job} --box URL. `loomproof boxes` lists what answers; "
        f"`--box sim://` is a simulated one{otherwise}.",
        err=True,
    )
    raise typer.Exit(BAD_CALL)


class DeskMaker:
    """Makes the desk, once the first picture stands (`tui.desk.protocol.MakeDesk`)."""

    def __init__(self, options: DeskOptions) -> None:
        self._options = options
        self._close: Callable[[], None] | None = None

    def __call__(self) -> Desk:
        """Read the job, open the records and return the desk. Raises `StartRefusedError`."""
        from loomproof.cli.console.open_desk import open_desk  # noqa: PLC0415 - not before the first picture

        desk, self._close = open_desk(self._options)
        return desk

    def close(self) -> None:
        """Close the record store, if it was opened."""
        if self._close is not None:
            self._close()


class JobStarter:
    """Opens what is chosen on the start page (`tui.desk.protocol.Starter`)."""

    def __init__(self, who: str, records: str | None, settings: SettingsKeeper) -> None:
        self._who = who
        self._records = records
        self._settings = settings
        self.made: list[DeskMaker] = []

    def ports(self) -> Sequence[tuple[str, str]]:
        """List the serial ports without opening one."""
        from loomproof.box.connect import serial_ports  # noqa: PLC0415 - not before the first picture

        return serial_ports()

    def open(self, job: str, box: str) -> tuple[MakeDesk, LoomHands | None]:
        """Return what makes the desk; a bare `sim://` is given the job's own loom, and hands."""
        path = Path(job)
        url = sim_url(path, DEMO_SEED, ()) if box == SIMULATED_BOX else own_url(path, box)
        options = DeskOptions(
            job=path, url=url, who=self._who, records=self._records, settings=self._settings, shown_as=box
        )
        return self._keep(DeskMaker(options)), hands_of(url)

    def practice(self) -> tuple[MakeDesk, LoomHands | None]:
        """Return the demo's desk and hands."""
        path = demo_job()
        url = sim_url(path, DEMO_SEED, DEMO_FAULTS)
        options = DeskOptions(job=path, url=url, who=self._who, records=self._records)
        return self._keep(DeskMaker(options)), DemoHands()

    def _keep(self, maker: DeskMaker) -> DeskMaker:
        self.made.append(maker)
        return maker
