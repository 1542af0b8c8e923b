"""The hands at a simulated loom: they pull, seat, wiggle, and switch the supply and the stop button."""

from collections.abc import Iterable
from itertools import pairwise
from typing import Protocol

from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.kinds import LoadKind
from loomproof.job.model import Job
from loomproof.job.shift import wires_shifted
from loomproof_sim.fault_text import FaultText
from loomproof_sim.hands.observation import acted
from loomproof_sim.plant.faults import Fault
from loomproof_sim.plant.plant import Plant

NOWHERE = 0
"""In place of a channel, for a load whose wire ends at none."""
WINDINGS = 4
"""A stepper has as many; they are driven in turn."""
Place = int | str
"""A location's id or name, or the channel whose load the job puts there."""


class HandsError(ValueError):
    """The job has no such place; the message lists the places it has."""


class BoxHands(Protocol):
    """What hands can do, in this process or over the network."""

    def pull(self, place: Place) -> None:
        """Pull the connector of the load at a place."""

    def seat(self, place: Place) -> None:
        """Plug the connector in again."""

    def wiggle(self, place: Place, duration_s: float = 1.0, severity: float = 1.0) -> None:
        """Wiggle the loom at a place for a while."""

    def supply(self, on: bool | float) -> None:
        """Switch the supply on or off, or set its voltage."""

    def stop_input(self, open_: bool) -> None:
        """Press (open) or release the stop button."""

    def noticed(self, place: Place, driven: Iterable[int]) -> bool:
        """Return whether a person at a place noticed anything when these channels were last driven."""


def connector_map(job: Job, faults: Iterable[FaultText | Fault]) -> dict[int, int]:
    """Return which channel's wires really end at the load that the job puts on each channel.

    BoxHands find a load by its place: where two channels are swapped, pulling one load's connector opens the
    other channel.
    """
    wired = {channel.channel: channel.channel for channel in job.channels}
    for fault in faults:
        wires: Iterable[tuple[int, int | None]] = ()
        if isinstance(fault, Fault):
            wires = fault.wires
        elif fault.connector is not None:
            wires = wires_shifted(job, fault.connector, fault.cavities_on).items()
        onto = {source: channel for channel, source in wires if source is not None}
        on_connector = {channel for channel, _ in wires}
        wired = {load: onto.get(end, NOWHERE) if end in on_connector else end for load, end in wired.items()}
        if fault.kind is FaultKind.SWAPPED and fault.channel is not None and fault.other is not None:
            one = next(load for load, channel in wired.items() if channel == fault.channel)
            other = next(load for load, channel in wired.items() if channel == fault.other)
            wired[one], wired[other] = fault.other, fault.channel
    return wired


class StillBox(Protocol):
    """A box that is held still at one instant."""

    @property
    def now_ns(self) -> int:
        """The instant at which the box is held."""

    def catch_up(self) -> None:
        """Bring every activity up to that instant."""

    def supply_changed(self) -> None:
        """Notice a change of the supply at once."""

    def set_stop_input(self, open_: bool) -> None:
        """Press (open) or release the stop button."""


class HeldBox(Protocol):
    """The part of a box that hands need: it can be held still while they act."""

    def __enter__(self) -> StillBox:
        """Hold it still at the present instant."""

    def __exit__(self, *_: object) -> None:
        """Let the box run on."""

    def set_cable(self, *, out: bool) -> None:
        """Pull or reinsert the box's plug."""


class SimHands:
    """The hands of a box in this process; safe from any thread.

    Args:
        box: gives the time, and is held still while the hands act.
        plant: the loom.
        job: names the places.
        wired: see `connector_map`.
    """

    def __init__(self, box: HeldBox, plant: Plant, job: Job, wired: dict[int, int]) -> None:
        self._box = box
        self._plant = plant
        self._job = job
        self._wired = wired
        self._unseated: set[int] = set()

    def channels_at(self, place: Place) -> tuple[int, ...]:
        """Return the channels whose wires end at a place.

        Raises:
            HandsError: the job has no such place.
        """
        intended = self._intended(place)
        return tuple(end for channel in intended if (end := self._wired[channel]) != NOWHERE)

    def _intended(self, place: Place) -> tuple[int, ...]:
        by_number = {channel.channel for channel in self._job.channels}
        word = str(place).strip()
        if word.isdigit():
            if int(word) in by_number:
                return (int(word),)
            raise HandsError(
                f"the job has no channel {word}; it has {', '.join(map(str, sorted(by_number)))}"
            )
        names = {name for spot in self._job.locations if word in (spot.id, spot.name) for name in (spot.id,)}
        found = tuple(channel.channel for channel in self._job.channels if channel.location in names)
        if not found:
            known = ", ".join(spot.id for spot in self._job.locations) or "none"
            raise HandsError(
                f"the job has nothing at {word!r}; give a channel or one of its locations: {known}"
            )
        return found

    def pull(self, place: Place) -> None:
        """Pull the connector of the load at a place."""
        self._each(place, seated=False)

    def seat(self, place: Place) -> None:
        """Plug the connector in again."""
        self._each(place, seated=True)

    def _each(self, place: Place, *, seated: bool) -> None:
        with self._box as controller:
            controller.catch_up()
            for channel in self.channels_at(place):
                act = self._plant.seat if seated else self._plant.pull
                act(channel, controller.now_ns / 1e9)
                (self._unseated.discard if seated else self._unseated.add)(channel)

    @property
    def pulled(self) -> tuple[int, ...]:
        """The channels of the job whose load is unplugged now."""
        loads = {channel: load for load, channel in self._wired.items()}
        return tuple(sorted(loads[channel] for channel in self._unseated))

    def wiggle(self, place: Place, duration_s: float = 1.0, severity: float = 1.0) -> None:
        """Wiggle the loom at a place for a while; only an intermittent contact breaks."""
        if not (0 < duration_s <= 3600 and 0 <= severity <= 100):
            raise HandsError("wiggle for more than 0 and at most 3600 s, with a severity of 0 to 100")
        with self._box as controller:
            controller.catch_up()
            for channel in self.channels_at(place):
                self._plant.wiggle(channel, controller.now_ns / 1e9, duration_s, severity)

    def supply(self, on: bool | float) -> None:
        """Switch the supply on or off, or set its voltage; the box's comparator sees it at once."""
        with self._box as controller:
            controller.catch_up()
            self._plant.set_supply(on, controller.now_ns / 1e9)
            controller.supply_changed()

    def stop_input(self, open_: bool) -> None:
        """Press (open) or release the stop button."""
        with self._box as controller:
            controller.set_stop_input(open_)

    def cable(self, *, out: bool) -> None:
        """Pull or reinsert the box's USB plug; the box stays powered."""
        self._box.set_cable(out=out)

    def noticed(self, place: Place, driven: Iterable[int]) -> bool:
        """Return whether a person at a place noticed anything when these channels were last driven.

        The person stands where the job puts the load; a load that is wired elsewhere acts elsewhere.
        """
        driven = tuple(driven)
        here = set(self.channels_at(place))
        with self._box as controller:
            controller.catch_up()
            if len(driven) == WINDINGS and not self._turns(driven):
                return False
            return any(acted(self._plant, channel) for channel in driven if channel in here)

    def _turns(self, driven: tuple[int, ...]) -> bool:
        """Return whether windings driven in this order turn their rotor the right way; True for other loads.

        The rotor follows from winding to winding: in a mixed order it shivers, in the opposite order it turns back.
        """
        if any(self._job.load_type(channel).kind is not LoadKind.STEPPER for channel in driven):
            return True
        loads = {channel: load for load, channel in self._wired.items()}
        if {loads[channel] for channel in driven} != set(driven):
            return False
        around = [driven.index(loads[channel]) for channel in driven]
        return all((after - before) % WINDINGS == 1 for before, after in pairwise(around))

    def moved(self, channel: int) -> bool:
        """Return whether the load on a channel acted when last driven: moved, lit, sparked or took a level."""
        with self._box as controller:
            controller.catch_up()
            return acted(self._plant, channel)
