"""The windings of steppers: four to a group, of one type and at one place."""

from collections import defaultdict
from collections.abc import Iterator, Mapping

from loomproof.facts.kinds import LoadKind
from loomproof.job.file.draft import Draft, Placed
from loomproof.job.model import Channel
from loomproof.job.problem import Flaw

STEPPER_WINDINGS = 4
_Groups = Mapping[str, list[Placed[Channel]]]


def stepper_flaws(draft: Draft) -> Iterator[Flaw]:
    """Yield what is wrong with groups, one mistyped name as one flaw."""
    yield from _single_flaws(draft)
    groups = _groups(draft)
    strays = _strays(groups)
    for name, members in groups.items():
        if name in strays:
            reason = f"stepper `{name}` has this winding alone, and stepper `{strays[name]}` lacks one"
            yield Flaw((*members[0].path, "group"), reason, f"did you mean `{strays[name]}`?")
        elif name not in strays.values():
            yield from _group_flaws(name, members)


def one_stepper_at(draft: Draft, channel: Channel) -> bool:
    """Whether a channel's place has the windings of one stepper, whatever their groups say: that is reported there."""
    there = [
        placed.part
        for placed in draft.channels
        if placed.part.location == channel.location and placed.part.group is not None
    ]
    return channel.group is not None and len(there) <= STEPPER_WINDINGS


def _single_flaws(draft: Draft) -> Iterator[Flaw]:
    for placed in draft.channels:
        load, group = draft.load_of(placed.part), placed.part.group
        if load is None:
            continue
        if group is not None and load.kind is not LoadKind.STEPPER:
            reason = f"a load of kind {load.kind} is no stepper winding"
            yield Flaw((*placed.path, "group"), reason, "remove it, or mend load")
        elif load.kind is LoadKind.STEPPER and group is None:
            yield Flaw(
                (*placed.path, "group"), "a stepper winding without a group", "name its stepper in group"
            )


def _groups(draft: Draft) -> _Groups:
    groups: dict[str, list[Placed[Channel]]] = defaultdict(list)
    for placed in draft.channels:
        load = draft.load_of(placed.part)
        if load is not None and load.kind is LoadKind.STEPPER and placed.part.group is not None:
            groups[placed.part.group].append(placed)
    return groups


def _group_flaws(name: str, members: list[Placed[Channel]]) -> Iterator[Flaw]:
    at = (*members[-1].path, "group")
    if len(members) != STEPPER_WINDINGS:
        reason = f"stepper `{name}` has {len(members)} windings, not {STEPPER_WINDINGS}"
        yield Flaw(at, reason, "give the same group to all four of its channels")
    elif len({(member.part.load, member.part.location) for member in members}) > 1:
        reason = f"the windings of stepper `{name}` differ in load or location"
        yield Flaw(at, reason, "give all four the same load and location")


def _strays(groups: _Groups) -> dict[str, str]:
    """Groups of a single winding, each with the group at the same place that lacks it: one name mistyped."""
    found = {}
    for name, members in groups.items():
        lacking = [
            other
            for other, there in groups.items()
            if len(there) == STEPPER_WINDINGS - 1 and there[0].part.location == members[0].part.location
        ]
        if len(members) == 1 and len(lacking) == 1:
            found[name] = lacking[0]
    return found
