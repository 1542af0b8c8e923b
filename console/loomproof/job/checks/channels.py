"""The channels: each output once, on a known load at a place of its own, driven within its load's limits."""

from collections.abc import Callable, Iterator

from loomproof.facts.kinds import HazardClass, LoadKind
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.checks.load_values import load_flaws, train_flaws
from loomproof.job.checks.steppers import one_stepper_at, stepper_flaws
from loomproof.job.file.draft import Draft, Placed
from loomproof.job.file.positions import Path
from loomproof.job.load_traits import LOAD_TRAITS
from loomproof.job.load_type import LoadType
from loomproof.job.model import Channel
from loomproof.job.problem import Flaw, nearest


def channel_flaws(draft: Draft) -> Iterator[Flaw]:
    """Yield what is wrong with the channels."""
    yield from _number_flaws(draft)
    each: tuple[Callable[[Draft, Placed[Channel]], Iterator[Flaw]], ...] = (
        _reference_flaws,
        _place_flaws,
        _pump_flaws,
        _override_flaws,
        _drive_flaws,
        _partner_flaws,
    )
    for placed in draft.channels:
        for check in each:
            for flaw in check(draft, placed):
                yield Flaw((*placed.path, *flaw.path), flaw.reason, flaw.remedy)
    yield from _crowded_flaws(draft)
    yield from _pair_flaws(draft)
    yield from stepper_flaws(draft)


def _number_flaws(draft: Draft) -> Iterator[Flaw]:
    seen: dict[int, str] = {}
    for placed in draft.channels:
        channel = placed.part
        if channel.channel in seen:
            reason = f"channel {channel.channel} is already used by {seen[channel.channel]!r}"
            yield Flaw((*placed.path, "channel"), reason, "give each its own output of the box")
        seen.setdefault(channel.channel, channel.name)


def _reference_flaws(draft: Draft, placed: Placed[Channel]) -> Iterator[Flaw]:
    channel = placed.part
    known_loads = draft.names["loads"] | CATALOGUE.keys()
    rows = (
        ("load", channel.load, known_loads),
        ("location", channel.location, draft.names["locations"]),
        ("feed", channel.feed, draft.names["feeds"]),
    )
    for key, name, known in rows:
        if name is not None and name not in known:
            yield Flaw((key,), f"there is no {key} `{name}`", nearest(name, known))


def _place_flaws(draft: Draft, placed: Placed[Channel]) -> Iterator[Flaw]:
    channel = placed.part
    load = draft.load_of(channel)
    if load is None or not channel.fitted or not LOAD_TRAITS[load.kind].placed:
        return
    traits = LOAD_TRAITS[load.kind]
    if channel.location is None:
        remedy = "add location, so that a swapped pair can be found"
        yield Flaw(("location",), f"{traits.noun} without a location", remedy)
        return
    location = draft.location(channel.location)
    if location is None or draft.engine is None or not traits.sparks:
        return
    ignition = draft.engine.part.ignition
    if ignition == "none":
        reason = 'the engine has ignition = "none", yet here is a coil'
        yield Flaw(("load",), reason, 'write ignition = "single" or "wasted_spark"')
    elif (
        ignition == "wasted_spark" and draft.engine.part.cylinders % 2 == 0 and location.cylinder is not None
    ):
        reason = f"a wasted-spark coil serves two cylinders; location `{location.id}` names one"
        yield Flaw(("location",), reason, "give the location `cylinders = [.., ..]` with both companions")
    elif ignition == "single" and location.cylinders:
        reason = f"a single coil serves one cylinder; location `{location.id}` names several"
        yield Flaw(("location",), reason, 'give it `cylinder`, or write ignition = "wasted_spark"')


def _pump_flaws(draft: Draft, placed: Placed[Channel]) -> Iterator[Flaw]:
    channel = placed.part
    load = draft.load_of(channel)
    if load is None:
        return
    if channel.fuel_pump and not LOAD_TRAITS[load.kind].runs_pump:
        reason = f"`{channel.load}` is a load of kind {load.kind}, not a relay or a pump motor"
        yield Flaw(("fuel_pump",), reason, "remove it, or mend load")
    if load.fuel_pump and not channel.fuel_pump:
        reason = f"`{channel.load}` runs a fuel pump and the channel does not say so"
        yield Flaw(("fuel_pump",), reason, "add fuel_pump = true")


def _override_flaws(draft: Draft, placed: Placed[Channel]) -> Iterator[Flaw]:
    channel = placed.part
    base = draft.base_load(channel.load)
    if channel.override is None or base is None:
        return
    hazard = channel.override.hazard
    if hazard is not None and base.hazard is not HazardClass.NONE and hazard is not base.hazard:
        reason = f"`{base.key}` is a {base.hazard} hazard; an override may add a hazard, not take one away"
        yield Flaw(("override", "hazard"), reason, "remove it")
    known = {(flaw.path, flaw.reason) for flaw in load_flaws(base)}
    for flaw in load_flaws(channel.override.apply(base)):
        if (flaw.path, flaw.reason) not in known and flaw.path[0] != "train":
            yield Flaw(("override", *flaw.path), flaw.reason, flaw.remedy)


def _drive_flaws(draft: Draft, placed: Placed[Channel]) -> Iterator[Flaw]:
    channel = placed.part
    load = draft.load_of(channel)
    if load is None:
        return
    if channel.train is not None:
        yield from train_flaws(channel.train, load.limits)
    elif channel.override is not None and channel.override.limits is not None:
        for flaw in train_flaws(load.train, load.limits):
            reason = f"the load type's own train no longer fits: {flaw.reason}"
            yield Flaw(("override", "limits"), reason, "add a train to the channel")


def _partner_flaws(draft: Draft, placed: Placed[Channel]) -> Iterator[Flaw]:
    channel = placed.part
    load = draft.load_of(channel)
    if channel.partner is None or load is None:
        return
    if load.kind is not LoadKind.MOTOR:
        reason = f"a load of kind {load.kind} is not driven by a half-bridge pair"
        yield Flaw(("partner",), reason, "remove it, or mend load")
        return
    if channel.partner == channel.channel:
        yield Flaw(("partner",), "a channel is not its own partner", "name the other channel of the pair")
        return
    other = next((o.part for o in draft.channels if o.part.channel == channel.partner), None)
    if other is None:
        yield Flaw(
            ("partner",), f"there is no channel {channel.partner}", "name the other channel of the pair"
        )
    elif other.partner != channel.channel:
        says = "no partner" if other.partner is None else f"channel {other.partner}"
        reason = f"channel {other.channel} names {says}, not channel {channel.channel}"
        yield Flaw(("partner",), reason, f"write partner = {channel.channel} at channel {other.channel}")
    elif (other.load, other.location) != (channel.load, channel.location):
        reason = (
            f"channel {other.channel} is the other end of the same motor, yet has another load or location"
        )
        yield Flaw(("partner",), reason, "give both channels the same load and location")


def _crowded_flaws(draft: Draft) -> Iterator[Flaw]:
    taken: dict[tuple[str, LoadKind], Channel] = {}
    for placed in draft.channels:
        channel = placed.part
        load = draft.load_of(channel)
        if channel.location is None or load is None or not channel.fitted:
            continue
        other = taken.setdefault((channel.location, load.kind), channel)
        if other is channel or _belong_together(channel, other) or one_stepper_at(draft, channel):
            continue
        yield Flaw(
            (*placed.path, "location"),
            f"channel {other.channel} already drives a load of kind {load.kind} at `{channel.location}`",
            "give each its own location, or their swap could not be found",
        )


def _belong_together(one: Channel, other: Channel) -> bool:
    same_group = one.group is not None and one.group == other.group
    return same_group or one.partner == other.channel or other.partner == one.channel


def _pair_flaws(draft: Draft) -> Iterator[Flaw]:
    """Two coils for the same companions, or for the same cylinder."""
    served: dict[tuple[tuple[int, ...], LoadKind], tuple[Channel, Path]] = {}
    for placed in draft.channels:
        load: LoadType | None = draft.load_of(placed.part)
        location = draft.location(placed.part.location)
        if load is None or location is None or not location.cylinders or load.kind is LoadKind.INJECTOR:
            continue
        key = (tuple(sorted(location.cylinders)), load.kind)
        other, _ = served.setdefault(key, (placed.part, placed.path))
        if other is not placed.part and other.location != placed.part.location:
            pair = "/".join(map(str, location.cylinders))
            reason = f"cylinders {pair} already have the coil on channel {other.channel}"
            yield Flaw((*placed.path, "location"), reason, "mend the cylinders of one of the two locations")
