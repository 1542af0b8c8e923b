"""The practice loom: an example job on a simulated box, and the hands on it."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from urllib.parse import quote, urlencode

import typer

import loomproof
from loomproof.cli.exit_codes import BAD_CALL
from loomproof.cli.simulated_address import completed, is_simulated, query_of
from loomproof.tui.desk.protocol import LoomHands

DEMO_BOX = "demo"
DEMO_JOB = "inline-five-turbo.toml"
DEMO_SEED = 5
DEMO_FAULTS = ("swapped:1:2", "added_resistance:8:1.2")
"""Sealed into the demo's loom: two injector plugs crossed, and a poor joint at a coil."""


def demo_job() -> Path:
    """Return the example job: beside the program where it was installed, else in the source tree."""
    home = Path(loomproof.__file__).resolve()
    for folder in (home.parent / "examples", home.parents[2] / "examples"):
        if (folder / DEMO_JOB).is_file():
            return folder / DEMO_JOB
    typer.echo(f"The example {DEMO_JOB} is not installed. Name a job: loomproof demo --job JOB", err=True)
    raise typer.Exit(BAD_CALL)


def sim_url(job: Path, seed: int, faults: Sequence[str]) -> str:
    """Return the URL of a simulated box that can be found again by its name."""
    query = [("seed", str(seed)), *(("fault", fault) for fault in faults), ("name", DEMO_BOX)]
    return f"sim://{quote(str(job.resolve()))}?{urlencode(query, safe=':')}"


def own_url(job: Path, box: str) -> str:
    """Return a box's URL; a simulated one that names no job gets this one's loom, and a name for its hands."""
    return completed(box, job.resolve(), {"name": DEMO_BOX}) if is_simulated(box) else box


def hands_of(url: str) -> LoomHands | None:
    """Return the hands on a box, if it is one of the simulated boxes that these hands can find."""
    return DemoHands() if is_simulated(url) and query_of(url).get("name") == DEMO_BOX else None


class DemoHands:
    """The hands of the demo's box, which exists once the console has connected (`tui.desk.protocol.LoomHands`)."""

    def _hands(self) -> LoomHands | None:
        from loomproof_sim.named_boxes import find  # noqa: PLC0415 - not before the first picture

        with suppress(KeyError):
            return find(DEMO_BOX).hands
        return None

    def pull(self, where: int | str) -> None:
        """Pull a connector."""
        if (hands := self._hands()) is not None:
            hands.pull(where)

    def seat(self, where: int | str) -> None:
        """Seat it."""
        if (hands := self._hands()) is not None:
            hands.seat(where)

    def wiggle(self, where: int | str) -> None:
        """Wiggle the loom there."""
        if (hands := self._hands()) is not None:
            hands.wiggle(where)

    def supply(self, on: bool) -> None:
        """Switch the supply."""
        if (hands := self._hands()) is not None:
            hands.supply(on)

    def stop_input(self, open_: bool) -> None:
        """Open or close the stop switch."""
        if (hands := self._hands()) is not None:
            hands.stop_input(open_)
