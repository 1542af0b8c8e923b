"""Names and cavities: each once, each known, each in its connector."""

from collections.abc import Iterable, Iterator

from loomproof.job.face import NO_CAVITY
from loomproof.job.file.draft import Draft
from loomproof.job.file.positions import Path
from loomproof.job.model import Connector
from loomproof.job.problem import Flaw, nearest


def header_flaws(draft: Draft) -> Iterator[Flaw]:
    """Yield what is wrong with connectors, ids and cavities."""
    yield from _twice((placed.path, placed.part.id) for placed in draft.connectors)
    yield from _twice((placed.path, placed.part.id) for placed in draft.feeds)
    yield from _twice((placed.path, placed.part.id) for placed in draft.locations)
    for placed in draft.connectors:
        yield from _face_flaws(placed.path, placed.part)
    yield from _cavity_flaws(draft)


def _face_flaws(path: Path, connector: Connector) -> Iterator[Flaw]:
    if connector.face is not None:
        yield from _drawn_face_flaws((*path, "face"), connector, connector.face)
    elif connector.columns is not None and connector.rows * connector.columns < connector.cavities:
        yield Flaw(
            (*path, "cavities"),
            f"{connector.rows} rows of {connector.columns} hold {connector.rows * connector.columns}, "
            f"not {connector.cavities} cavities",
            "mend rows, columns or cavities",
        )


def _drawn_face_flaws(path: Path, connector: Connector, face: tuple[tuple[int, ...], ...]) -> Iterator[Flaw]:
    said = sorted({"rows", "columns", "numbering", "first"} & connector.model_fields_set)
    if said:
        yield Flaw(path, f"it says all that {' and '.join(said)} could say", f"remove {' and '.join(said)}")
    widths = sorted({len(row) for row in face})
    if len(widths) != 1 or widths[0] == 0:
        yield Flaw(
            path, "its rows are not equally long", "fill each row up with 0, which stands for no cavity"
        )
    numbers = [number for row in face for number in row if number != NO_CAVITY]
    twice = sorted({number for number in numbers if numbers.count(number) > 1})
    if twice:
        yield Flaw(path, f"cavity {_listed(twice)} is there twice", "write each cavity once")
    beyond = sorted({number for number in numbers if number > connector.cavities})
    if beyond:
        remedy = "mend the face or the number of cavities"
        yield Flaw(path, f"there are {connector.cavities} cavities, no number {_listed(beyond)}", remedy)
    missing = sorted(set(range(1, connector.cavities + 1)) - set(numbers))
    if missing:
        yield Flaw(path, f"cavity {_listed(missing)} is missing", "write each cavity once")


def _listed(numbers: list[int]) -> str:
    return ", ".join(map(str, numbers[:6])) + (" ..." if len(numbers) > 6 else "")


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
