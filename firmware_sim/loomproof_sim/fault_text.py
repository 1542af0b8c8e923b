"""Faults written as text, and put into a loom: `open:5`, `added_resistance:3:0.9`, `swapped:1:2`, `feed_weak:F1:0.4`."""

from dataclasses import dataclass, replace

from loomproof.facts.fault_kind import FaultKind
from loomproof.job.model import Job
from loomproof.job.shift import connector_of, feeds_shifted, wires_shifted
from loomproof_sim.loom import Draw, load_spec
from loomproof_sim.plant.faults import MAKING, Amount, Fault, FaultSite, apply_fault
from loomproof_sim.plant.spec import IntermittentSpec, LoomSpec

_SITE = {
    FaultSite.CHANNEL: ":CHANNEL",
    FaultSite.TWO_CHANNELS: ":CHANNEL:OTHER",
    FaultSite.CHANNEL_AND_LOAD: ":CHANNEL:LOAD",
    FaultSite.FEED: ":FEED",
    FaultSite.CONNECTOR: ":CONNECTOR",
    FaultSite.SUPPLY: "",
}
_AMOUNT = {
    None: "",
    Amount.OHM: "[:OHM]",
    Amount.SHARE: "[:SHARE]",
    Amount.BREAKS: "[:BREAKS_PER_S]",
    Amount.CAVITIES: "[:CAVITIES]",
}


class FaultTextError(ValueError):
    """A fault text that cannot be read; the message says what to write instead."""


@dataclass(frozen=True)
class FaultText:
    """A fault as written, before it is put into a loom.

    Attributes:
        connector: for `shifted`, its id.
        load: for `wrong_load` and `wrong_set`, the key of the load that is fitted instead.
        amount: in the unit of its kind (`Making.amount`).
    """

    kind: FaultKind
    channel: int | None = None
    other: int | None = None
    feed: str | None = None
    amount: float | None = None
    load: str | None = None
    connector: str | None = None

    @property
    def cavities_on(self) -> int:
        """How far a shifted connector's wires sit on."""
        return 1 if self.amount is None else round(self.amount)


def form_of(kind: FaultKind) -> str:
    """Return the form in which a kind of fault is written."""
    making = MAKING[kind]
    return f"{kind}{_SITE[making.site]}{_AMOUNT[making.amount]}"


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
    making = MAKING[kind]
    channel = other = feed = load = connector = None
    if making.site is FaultSite.CONNECTOR:
        connector = reader.one_of("connector", [one.id for one in job.connectors])
    elif making.site is FaultSite.FEED:
        feed = reader.one_of("feed", [feed.id for feed in job.feeds])
    elif making.site is not FaultSite.SUPPLY:
        channel = reader.channel(job)
    if making.site is FaultSite.TWO_CHANNELS:
        other = reader.channel(job)
        if other == channel:
            raise reader.wrong("the two channels must differ")
    if making.site is FaultSite.CHANNEL_AND_LOAD:
        load = reader.load(job)
    least = -400.0 if making.amount is Amount.CAVITIES else 0.0
    amount = reader.amount(least) if making.amount is not None else None
    return FaultText(kind, channel, other, feed, amount, load, connector)


def inputs_beside(job: Job, channel: int) -> tuple[int, ...]:
    """Return the fitted channels whose load is of the same kind, and so shares its ground."""
    kind = job.load_type(channel).kind
    return tuple(
        sorted(c.channel for c in job.channels if c.fitted and job.load_type(c.channel).kind is kind)
    )


def shifted_fault(job: Job, connector: str, by: int) -> Fault:
    """Return the fault of a connector whose wires sit so many cavities on."""
    entering = tuple(f.id for f in job.feeds if f.cavity and connector_of(f.cavity) == connector)
    touched = tuple(feeds_shifted(job, connector, by))
    wires = tuple(wires_shifted(job, connector, by).items())
    return Fault(FaultKind.SHIFTED, wires=wires, fed=(touched, entering))


def put_fault(loom: LoomSpec, fault: FaultText, job: Job, draw: Draw) -> LoomSpec:
    """Return the loom with a fault that was read from text in it.

    Args:
        loom: the loom so far.
        fault: as read.
        job: what the loom was drawn from.
        draw: where a part fitted instead lies in its tolerance.

    Raises:
        FaultTextError: the fault needs a load that is not there.
        ValueError: the plant cannot make this fault on this loom; the text says why.
    """
    fitted = {channel.channel for channel in job.channels if channel.fitted}
    for channel in (fault.channel, fault.other):
        if channel is not None and channel not in fitted:
            raise FaultTextError(
                f"fault {fault.kind} on channel {channel}: the job says nothing is fitted there"
            )
    load = None if fault.load is None else load_spec(job.base_load(fault.load), draw)
    made = Fault(fault.kind, fault.channel, fault.other, fault.feed, load=load)
    if fault.kind is FaultKind.WRONG_SET and fault.channel is not None and fault.load is not None:
        other = job.base_load(fault.load)
        whole = sorted({fault.channel, *job.sisters(fault.channel)})
        made = replace(made, loads=tuple((channel, load_spec(other, draw)) for channel in whole))
    if fault.kind is FaultKind.GROUND_OPEN and fault.channel is not None:
        made = replace(made, inputs=inputs_beside(job, fault.channel))
    if fault.connector is not None:
        made = shifted_fault(job, fault.connector, fault.cavities_on)
    elif fault.amount is not None:
        made = _with_amount(made, fault.amount)
    return apply_fault(loom, made)


def _with_amount(fault: Fault, amount: float) -> Fault:
    """Return the fault with what its kind is measured in."""
    if MAKING[fault.kind].amount is Amount.SHARE:
        return replace(fault, fraction=amount)
    if MAKING[fault.kind].amount is Amount.BREAKS:
        return replace(fault, contact=IntermittentSpec(breaks_per_s=amount))
    return replace(fault, ohm=amount)


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

    def amount(self, least: float) -> float | None:
        if not self._parts:
            return None
        word = self._take("amount")
        try:
            amount = float(word)
        except ValueError:
            raise self.wrong(f"{word!r} is not a number") from None
        if not least <= amount < 1e9:
            raise self.wrong(f"{word} is not a possible amount")
        return amount

    def done(self) -> None:
        if self._parts:
            raise self.wrong(f"{self._parts[0]!r} is one part too many")
