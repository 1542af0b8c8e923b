"""The attendant at a box under check: a person who is asked, or the hands of a simulated box."""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import unquote, urlsplit

from loomproof.boxcheck.attendant import Act, Attendant
from loomproof.boxcheck.need import Need
from loomproof.boxcheck.subjects import Subjects, harmless_subjects
from loomproof.job.file.loading import JobError, load_job

if TYPE_CHECKING:
    from loomproof_sim.hands.local import SimHands

PATIENCE_S = 15.0
AT_THE_BOX = frozenset({Need.STOP_BUTTON, Need.SUPPLY, Need.CONNECTOR})


class PersonHands:
    """A person at the box, who is asked on standard error; the box itself shows that it was done.

    Args:
        present: whether somebody is there at all.
    """

    patience_s = PATIENCE_S

    def __init__(self, *, present: bool) -> None:
        self.can: frozenset[Need] = AT_THE_BOX if present else frozenset()

    def do(self, act: Act, channel: int) -> None:
        """Ask for it."""
        where = f" on channel {channel}" if channel else ""
        print(f"\a>>> {act.value}{where}, within {PATIENCE_S:g} s.", file=sys.stderr, flush=True)


class SimulatedHands:
    """The hands of a simulated box: at once, every time."""

    patience_s = 0.0
    can = AT_THE_BOX

    def __init__(self, hands: "SimHands") -> None:
        self._hands = hands

    def do(self, act: Act, channel: int) -> None:
        """Do it."""
        acts: dict[Act, Callable[[], object]] = {
            Act.PRESS_STOP: lambda: self._hands.stop_input(True),
            Act.RELEASE_STOP: lambda: self._hands.stop_input(False),
            Act.SUPPLY_OFF: lambda: self._hands.supply(False),
            Act.SUPPLY_ON: lambda: self._hands.supply(True),
            Act.PULL: lambda: self._hands.pull(channel),
            Act.SEAT: lambda: self._hands.seat(channel),
        }
        acts[act]()


def hands_of_port(port: object) -> Attendant | None:
    """Return the hands of a simulated box in this process, None for any other port."""
    sim = getattr(port, "sim", None)
    return None if sim is None else SimulatedHands(sim.hands)


def simulated_subjects(url: str) -> Subjects:
    """Return what may be driven on a simulated box: its job's harmless channels and first bridge."""
    from loomproof_sim.scenario import builtin_job  # noqa: PLC0415 - the simulator only when it is asked for

    parts = urlsplit(url)
    path = unquote(parts.netloc + parts.path)
    try:
        job = load_job(Path(path)) if path else builtin_job()
    except (JobError, OSError):
        return Subjects()  # opening the port says what is wrong with it
    pairs = [(channel.channel, channel.partner) for channel in job.channels if channel.partner is not None]
    return Subjects(harmless_subjects(job).switched, pairs[0] if pairs else None)
