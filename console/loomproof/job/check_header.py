"""Names and cavities: each once, each known, each in its connector."""

from collections.abc import Iterable, Iterator

from loomproof.job.draft import Draft
from loomproof.job.positions import Path
from loomproof.job.problem import Flaw, nearest


def header_flaws(draft: Draft) -> Iterator[Flaw]:
    """Yield what is wrong with connectors, ids and cavities."""
    yield from _twice((placed.path, placed.part.id) for placed in draft.connectors)
    yield from _twice((placed.path, placed.part.id) for placed in draft.feeds)
    yield from _twice((placed.path, placed.part.id) for placed in draft.locations)
    for placed in draft.connectors:
        connector = placed.part
        if connector.columns is not None and connector.rows * connector.columns < connector.cavities:
            yield Flaw(
                (*placed.path, "cavities"),
                f"{connector.rows} rows of {connector.columns} hold {connector.rows * connector.columns}, "
                f"not {connector.cavities} cavities",
                "mend rows, columns or cavities",
            )
    yield from _cavity_flaws(draft)


def _twice(named: Iterable[tuple[Path, str]]) -> Iterator[Flaw]:
    seen: set[str] = set()
    for path, name in named:
        if name in seen:
            yield Flaw((*path, "id"), f"`{name}` is used twice", "give each its own id")
        seen.add(name)


def _cavity_flaws(draft: Draft) -> Iterator[Flaw]:
    sizes = {placed.part.id: placed.part.cavities for placed in draft.connectors}
    taken: dict[str, str] = {}
    for path, owner, cavity in _cavities(draft):
        connector, number = cavity.rsplit("-", 1)
        if connector not in draft.names["connectors"]:
            advice = nearest(connector, draft.names["connectors"])
            yield Flaw(path, f"there is no connector `{connector}`", advice)
        elif connector in sizes and int(number) > sizes[connector]:
            yield Flaw(
                path,
                f"connector {connector} has {sizes[connector]} cavities, no number {number}",
                f"write {connector}-1 to {connector}-{sizes[connector]}, or mend the connector's cavities",
            )
        if cavity in taken:
            yield Flaw(
                path, f"cavity {cavity} is already taken by {taken[cavity]}", "give each its own cavity"
            )
        taken.setdefault(cavity, owner)


def _cavities(draft: Draft) -> Iterator[tuple[Path, str, str]]:
    for feed in draft.feeds:
        if feed.part.cavity is not None:
            yield (*feed.path, "cavity"), f"feed {feed.part.id}", feed.part.cavity
    for channel in draft.channels:
        yield (*channel.path, "cavity"), f"channel {channel.part.channel}", channel.part.cavity
