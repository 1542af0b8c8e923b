"""No restraint and no high-voltage circuit is a channel, wherever its name stands."""

from collections.abc import Iterator

from loomproof.job.file.draft import Draft
from loomproof.job.file.positions import Path
from loomproof.job.load_traits import LOAD_TRAITS
from loomproof.job.problem import Flaw
from loomproof.job.refused_circuits import refused_circuit


def refused_flaws(draft: Draft) -> Iterator[Flaw]:
    """Yield every name in a job that belongs to a circuit this box must not touch."""
    for path, text, sparks in _names(draft):
        found = refused_circuit(text, sparks=sparks)
        if found is not None:
            yield Flaw(path, found.reason, found.remedy)


def _names(draft: Draft) -> Iterator[tuple[Path, str, bool]]:
    """Yield path, text, and whether nothing but ignition coils bears that name."""
    if draft.title:
        yield ("identity", "title"), draft.title, False
    coils = _coils(draft)
    for connector in draft.connectors:
        yield (*connector.path, "name"), connector.part.name, False
        yield (*connector.path, "id"), connector.part.id, False
    for feed in draft.feeds:
        yield (*feed.path, "name"), feed.part.name, False
        yield (*feed.path, "id"), feed.part.id, False
    for location in draft.locations:
        of_coils = location.part.id in coils
        for key in ("name", "id", "place"):
            yield (*location.path, key), getattr(location.part, key), of_coils
    for load in draft.loads:
        for key in ("name", "key", "notice"):
            yield (*load.path, key), getattr(load.part, key), LOAD_TRAITS[load.part.kind].sparks
    for channel in draft.channels:
        load_type = draft.load_of(channel.part)
        sparks = load_type is not None and LOAD_TRAITS[load_type.kind].sparks
        yield (*channel.path, "name"), channel.part.name, sparks
        yield (*channel.path, "group"), channel.part.group or "", sparks
        if channel.part.override is not None and channel.part.override.notice is not None:
            yield (*channel.path, "override", "notice"), channel.part.override.notice, sparks


def _coils(draft: Draft) -> set[str]:
    """Return the locations at which nothing but ignition coils is."""
    kinds: dict[str, set[bool]] = {}
    for channel in draft.channels:
        load = draft.load_of(channel.part)
        if channel.part.location is not None:
            kinds.setdefault(channel.part.location, set()).add(
                load is not None and LOAD_TRAITS[load.kind].sparks
            )
    return {location for location, sparks in kinds.items() if sparks == {True}}
