"""Faults written as text: `open:5`, `added_resistance:3:0.9`, `swapped:1:2`, `feed_weak:F1:0.4`."""

from dataclasses import dataclass

from loomproof.facts.fault_kind import FaultKind
from loomproof.job.model import Job

PAIRED = (FaultKind.SWAPPED, FaultKind.BRIDGED)
FEEDS = (FaultKind.FEED_OPEN, FaultKind.FEED_WEAK)
WITH_OHM = (
    FaultKind.ADDED_RESISTANCE,
    FaultKind.SHORT_TO_GROUND,
    FaultKind.SHORT_TO_SUPPLY,
    FaultKind.SHORT_ACROSS_LOAD,
    FaultKind.BRIDGED,
    FaultKind.FEED_WEAK,
    FaultKind.WEAK_SUPPLY,
)
"""Kinds that take a resistance, in ohm."""


class FaultTextError(ValueError):
    """A fault text that cannot be read; the message says what to write instead."""


@dataclass(frozen=True)
class FaultText:
    """A fault as written, before it is put into a loom.

    Attributes:
        load: for `wrong_load`, the key of the load that is fitted instead.
        amount: ohm, the share of shorted turns (`shorted_turns`) or breaks per second (`intermittent`).
    """

    kind: FaultKind
    channel: int | None = None
    other: int | None = None
    feed: str | None = None
    amount: float | None = None
    load: str | None = None


def form_of(kind: FaultKind) -> str:
    """Return the form in which a kind of fault is written."""
    if kind in PAIRED:
        return f"{kind}:CHANNEL:OTHER" + ("[:OHM]" if kind in WITH_OHM else "")
    if kind in FEEDS:
        return f"{kind}:FEED" + ("[:OHM]" if kind in WITH_OHM else "")
    if kind is FaultKind.WEAK_SUPPLY:
        return f"{kind}[:OHM]"
    if kind is FaultKind.WRONG_LOAD:
        return f"{kind}:CHANNEL:LOAD"
    tails = {FaultKind.SHORTED_TURNS: "[:SHARE]", FaultKind.INTERMITTENT: "[:BREAKS_PER_S]"}
    return f"{kind}:CHANNEL" + tails.get(kind, "[:OHM]" if kind in WITH_OHM else "")


def parse_fault(text: str, job: Job) -> FaultText:
    """Return the fault that a text names.

    Raises:
        FaultTextError: unknown kind, channel, feed or load, or a part too many or too few.
    """
    name, *parts = [part.strip() for part in text.split(":")]
    try:
        kind = FaultKind(name)
    except ValueError:
        raise FaultTextError(
            f"fault {text!r}: there is no fault {name!r}; write one of {', '.join(FaultKind)}"
        ) from None
    reader = _Reader(text, kind, parts)
    fault = _read(kind, reader, job)
    reader.done()
    return fault


def _read(kind: FaultKind, reader: "_Reader", job: Job) -> FaultText:
    if kind is FaultKind.WEAK_SUPPLY:
        return FaultText(kind, amount=reader.amount())
    if kind in FEEDS:
        feed = reader.one_of("feed", [feed.id for feed in job.feeds])
        return FaultText(kind, feed=feed, amount=reader.amount() if kind in WITH_OHM else None)
    channel = reader.channel(job)
    if kind in PAIRED:
        other = reader.channel(job)
        if other == channel:
            raise reader.wrong("the two channels must differ")
        return FaultText(kind, channel, other, amount=reader.amount() if kind in WITH_OHM else None)
    if kind is FaultKind.WRONG_LOAD:
        return FaultText(kind, channel, load=reader.load(job))
    takes = kind in WITH_OHM or kind in (FaultKind.SHORTED_TURNS, FaultKind.INTERMITTENT)
    return FaultText(kind, channel, amount=reader.amount() if takes else None)


class _Reader:
    """Reads the parts of a fault's text one by one."""

    def __init__(self, text: str, kind: FaultKind, parts: list[str]) -> None:
        self._text, self._kind, self._parts = text, kind, parts

    def wrong(self, why: str) -> FaultTextError:
        return FaultTextError(f"fault {self._text!r}: {why}; write {form_of(self._kind)}")

    def _take(self, what: str) -> str:
        if not self._parts or not self._parts[0]:
            raise self.wrong(f"the {what} is missing")
        return self._parts.pop(0)

    def one_of(self, what: str, known: list[str]) -> str:
        word = self._take(what)
        if word not in known:
            raise self.wrong(f"the job has no {what} {word!r} (it has {', '.join(known) or 'none'})")
        return word

    def channel(self, job: Job) -> int:
        return int(self.one_of("channel", [str(channel.channel) for channel in job.channels]))

    def load(self, job: Job) -> str:
        word = self._take("load")
        try:
            return job.base_load(word).key
        except KeyError:
            raise self.wrong(f"neither the job nor the catalogue has a load {word!r}") from None

    def amount(self) -> float | None:
        if not self._parts:
            return None
        word = self._take("amount")
        try:
            amount = float(word)
        except ValueError:
            raise self.wrong(f"{word!r} is not a number") from None
        if not 0 <= amount < 1e9:
            raise self.wrong(f"{word} is not a possible amount")
        return amount

    def done(self) -> None:
        if self._parts:
            raise self.wrong(f"{self._parts[0]!r} is one part too many")
