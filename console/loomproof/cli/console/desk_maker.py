"""What makes the console's desk once the first picture stands; light, since it is loaded before it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NoReturn

import typer

from loomproof.cli.console.practice import (
    DEMO_FAULTS,
    DEMO_SEED,
    SIMULATED,
    DemoHands,
    demo_job,
    hands_of,
    own_url,
    sim_url,
)
from loomproof.cli.exit_codes import BAD_CALL
from loomproof.tui.desk.protocol import Desk, Hands, MakeDesk
from loomproof.tui.settings import SettingsKeeper


def need_job(command: str) -> NoReturn:
    """Refuse a call that names a box or a record but no job."""
    typer.echo(f"Name the job: loomproof {command} JOB --box URL", err=True)
    raise typer.Exit(BAD_CALL)


def need_box(command: str, job: Path, otherwise: str = "") -> NoReturn:
    """Refuse a call that names a job but no box."""
    typer.echo(
        f"Name the box, too: loomproof {command} {job} --box URL. `loomproof boxes` lists what answers; "
        f"`--box sim://` is a simulated one{otherwise}.",
        err=True,
    )
    raise typer.Exit(BAD_CALL)


class DeskMaker:
    """Makes the real desk when the first picture stands; see `opening.DeskMaker`, which is loaded only then."""

    def __init__(
        self,
        path: Path,
        url: str,
        who: str,
        records: str | None,
        *,
        resume: str | None = None,
        settings: SettingsKeeper | None = None,
        shown_as: str | None = None,
        reading: bool = False,
        carry_on: Path | None = None,
    ) -> None:
        self._path, self._url, self._who, self._records = path, url, who, records
        self._resume, self._settings, self._shown_as = resume, settings, shown_as
        self._reading, self._carry_on = reading, carry_on
        self._close: Callable[[], None] | None = None

    def __call__(self) -> Desk:
        """Read the job, open the records and return the desk. Raises `StartRefusedError`."""
        from loomproof.cli.console.opening import DeskMaker as Opening  # noqa: PLC0415 - not before the first picture

        opening = Opening(
            self._path,
            self._url,
            self._who,
            self._records,
            resume=self._resume,
            settings=self._settings,
            shown_as=self._shown_as,
            reading=self._reading,
            carry_on=self._carry_on,
        )
        self._close = opening.close
        return opening()

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

    def open(self, job: str, box: str) -> tuple[MakeDesk, Hands | None]:
        """Return what makes the desk; a bare `sim://` is given the job's own loom, and hands."""
        path = Path(job)
        url = sim_url(path, DEMO_SEED, ()) if box == SIMULATED else own_url(path, box)
        maker = DeskMaker(path, url, self._who, self._records, settings=self._settings, shown_as=box)
        return self._keep(maker), hands_of(url)

    def practice(self) -> tuple[MakeDesk, Hands | None]:
        """Return the demo's desk and hands."""
        path = demo_job()
        url = sim_url(path, DEMO_SEED, DEMO_FAULTS)
        return self._keep(DeskMaker(path, url, self._who, self._records)), DemoHands()

    def _keep(self, maker: DeskMaker) -> DeskMaker:
        self.made.append(maker)
        return maker
