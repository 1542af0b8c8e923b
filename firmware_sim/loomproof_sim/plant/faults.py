"""Faults as changes to the loom: the trace follows from the changed circuit. `MAKING` has one row for each kind."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from enum import Enum

from loomproof.facts.fault_kind import FaultKind
from loomproof_sim.plant.circuit import far_end
from loomproof_sim.plant.spec import (
    BranchSpec,
    FeedSpec,
    IgniterSpec,
    InjectorSpec,
    IntermittentSpec,
    LampSpec,
    LoadSpec,
    LogicInputSpec,
    LoomSpec,
    MotorSpec,
    MovingSpec,
    SuppressionSpec,
    ValveSpec,
    WoundSpec,
)


@dataclass(frozen=True)
class Fault:
    """One fault.

    Attributes:
        kind: what is wrong.
        channel: where (not needed for feeds and the supply).
        other: second channel of a swap or a bridge.
        feed: of feed faults; default the channel's own.
        ohm: of the fault path, the added resistance, the weak feed or the weak supply; None = a usual value.
        fraction: of the turns that are shorted.
        load: fitted instead of the right one; None = one of another kind.
        loads: of a wrong set, what is fitted on each of its channels.
        wires: of a shifted connector, the channel whose wire sits on each of its channels; None where there is none.
        inputs: of a lost ground, the channels that share it.
        fed: of a shifted connector, the channels that touch a feed's wire, and the feeds that enter it and are lost.
        contact: how an intermittent contact breaks.
    """

    kind: FaultKind
    channel: int | None = None
    other: int | None = None
    feed: str | None = None
    ohm: float | None = None
    fraction: float = 0.1
    load: LoadSpec | None = None
    loads: tuple[tuple[int, LoadSpec], ...] = ()
    wires: tuple[tuple[int, int | None], ...] = ()
    inputs: tuple[int, ...] = ()
    fed: tuple[tuple[int, ...], tuple[str, ...]] = ((), ())
    contact: IntermittentSpec = field(default_factory=IntermittentSpec)


def _branch(loom: LoomSpec, kind: FaultKind, channel: int | None) -> BranchSpec:
    if channel is None:
        raise ValueError(f"{kind}: say which channel")
    try:
        return loom.branch(channel)
    except KeyError:
        known = ", ".join(str(b.channel) for b in loom.branches)
        raise ValueError(f"{kind}: the loom has no channel {channel}; it has {known}") from None


def _with(loom: LoomSpec, *changed: BranchSpec) -> LoomSpec:
    by_channel = {b.channel: b for b in changed}
    return replace(loom, branches=tuple(by_channel.get(b.channel, b) for b in loom.branches))


def _on_branch(change: Callable[[BranchSpec, Fault, float], BranchSpec]) -> Callable[..., LoomSpec]:
    """A maker that changes the branch of the fault's channel."""

    def make(loom: LoomSpec, fault: Fault, ohm: float) -> LoomSpec:
        return _with(loom, change(_branch(loom, fault.kind, fault.channel), fault, ohm))

    return make


def _on_load(change: Callable[[BranchSpec, Fault, float], BranchSpec]) -> Callable[..., LoomSpec]:
    """The same of the load itself: between two half-bridges it is one, whichever of them is named."""

    def make(loom: LoomSpec, fault: Fault, ohm: float) -> LoomSpec:
        named = _branch(loom, fault.kind, fault.channel)
        owner = next((b for b in loom.branches if b.partner == named.channel and b.load is not None), named)
        return _with(loom, change(owner if named.load is None else named, fault, ohm))

    return make


def _on_feed(change: Callable[[FeedSpec, float], FeedSpec]) -> Callable[..., LoomSpec]:
    """A maker that changes the fault's feed, or that of its channel."""

    def make(loom: LoomSpec, fault: Fault, ohm: float) -> LoomSpec:
        name = fault.feed
        if name is None and fault.channel is not None:
            name = _branch(loom, fault.kind, fault.channel).feed_id
        if name not in {f.id for f in loom.feeds}:
            known = ", ".join(f.id for f in loom.feeds) or "none"
            raise ValueError(f"{fault.kind}: the loom has no feed {name!r}; it has {known}")
        return replace(loom, feeds=tuple(change(f, ohm) if f.id == name else f for f in loom.feeds))

    return make


def _two_branches(loom: LoomSpec, fault: Fault) -> tuple[BranchSpec, BranchSpec]:
    a, b = _branch(loom, fault.kind, fault.channel), _branch(loom, fault.kind, fault.other)
    if a.channel == b.channel:
        raise ValueError(f"{fault.kind}: a channel cannot be {fault.kind} with itself; give two channels")
    return a, b


def _weak_supply(loom: LoomSpec, _: Fault, ohm: float) -> LoomSpec:
    return replace(loom, supply=replace(loom.supply, internal_ohm=loom.supply.internal_ohm + ohm))


def _dead_feed(feed: FeedSpec, _: float) -> FeedSpec:
    return replace(feed, open=True)


def _weak_feed(feed: FeedSpec, ohm: float) -> FeedSpec:
    return replace(feed, resistance_ohm=feed.resistance_ohm + ohm)


def _bridged(loom: LoomSpec, fault: Fault, ohm: float) -> LoomSpec:
    a, b = _two_branches(loom, fault)
    return replace(loom, bridges=(*loom.bridges, (a.channel, b.channel, ohm)))


def _swapped(loom: LoomSpec, fault: Fault, _: float) -> LoomSpec:
    """Two wires in each other's cavity: everything behind the pins changes places."""
    a, b = _two_branches(loom, fault)
    a_end, b_end = far_end(a, loom.driver(a.channel)), far_end(b, loom.driver(b.channel))
    exchange = {a.channel: b.channel, b.channel: a.channel}

    def moved(source: BranchSpec, channel: int) -> BranchSpec:
        partner = exchange.get(source.partner, source.partner) if source.partner is not None else None
        return replace(source, channel=channel, partner=partner, far_end=a_end if source is a else b_end)

    others = []
    for branch in loom.branches:
        if branch.partner in exchange and branch.channel not in exchange:
            assert branch.partner is not None
            others.append(replace(branch, partner=exchange[branch.partner]))
    return _with(loom, moved(b, a.channel), moved(a, b.channel), *others)


def _wrong_set(loom: LoomSpec, fault: Fault, _: float) -> LoomSpec:
    if not fault.loads:
        raise ValueError(f"{fault.kind}: say which loads are fitted instead")
    return _with(loom, *(replace(_branch(loom, fault.kind, c), load=load) for c, load in fault.loads))


def _shifted(loom: LoomSpec, fault: Fault, _: float) -> LoomSpec:
    """Every wire of a connector at the next channel; those that find none hang free, and so do the feeds' that enter."""
    if not fault.wires:
        raise ValueError(f"{fault.kind}: say which wire sits on which channel")
    onto = {source: channel for channel, source in fault.wires if source is not None}
    touched, lost = fault.fed
    changed = []
    for channel, source in fault.wires:
        found = BranchSpec(channel=channel, load=None)
        if source is not None:
            old = _branch(loom, fault.kind, source)
            partner = onto.get(old.partner) if old.partner is not None else None
            found = replace(old, channel=channel, partner=partner, far_end=far_end(old, loom.driver(source)))
        if channel in touched:
            found = replace(found, to_supply_ohm=_JOINED_OHM)
        changed.append(found)
    feeds = tuple(replace(f, open=True) if f.id in lost else f for f in loom.feeds)
    return replace(_with(loom, *changed), feeds=feeds)


def _two_on_one_wire(loom: LoomSpec, fault: Fault, _: float) -> LoomSpec:
    a, b = _two_branches(loom, fault)
    return _with(loom, replace(b, wired_to=a.channel))


def _ground_lost(loom: LoomSpec, fault: Fault, _: float) -> LoomSpec:
    shared = fault.inputs or ((fault.channel,) if fault.channel is not None else ())
    inputs = [_branch(loom, fault.kind, channel) for channel in shared]
    if not inputs or not all(isinstance(b.load, IgniterSpec | LogicInputSpec) for b in inputs):
        raise ValueError(f"{fault.kind}: only inputs have a ground of their own; name one of them")
    lost = replace(loom, grounds=(*loom.grounds, FeedSpec(_LOST_GROUND, open=True)))
    return _with(lost, *(replace(b, ground_id=_LOST_GROUND) for b in inputs))


def _open(b: BranchSpec, fault: Fault, ohm: float) -> BranchSpec:
    return replace(b, open=True)


def _to_ground(b: BranchSpec, fault: Fault, ohm: float) -> BranchSpec:
    return replace(b, to_ground_ohm=ohm)


def _to_supply(b: BranchSpec, fault: Fault, ohm: float) -> BranchSpec:
    return replace(b, to_supply_ohm=ohm)


def _across(b: BranchSpec, fault: Fault, ohm: float) -> BranchSpec:
    return replace(b, across_load_ohm=ohm)


def _series(b: BranchSpec, fault: Fault, ohm: float) -> BranchSpec:
    return replace(b, series_ohm=b.series_ohm + ohm)


def _intermittent(b: BranchSpec, fault: Fault, ohm: float) -> BranchSpec:
    return replace(b, intermittent=fault.contact)


def _shorted_turns(b: BranchSpec, fault: Fault, ohm: float) -> BranchSpec:
    if not 0.0 < fault.fraction < 1.0:
        raise ValueError(f"shorted_turns: the share must lie between 0 and 1, not {fault.fraction}")
    if isinstance(b.load, IgniterSpec):
        coil = replace(b.load.coil, shorted_fraction=fault.fraction)
        return replace(b, load=replace(b.load, coil=coil))
    if not isinstance(b.load, WoundSpec):
        raise ValueError(f"shorted_turns: the load of channel {b.channel} has no winding")
    return replace(b, load=replace(b.load, shorted_fraction=fault.fraction))


def _stuck(b: BranchSpec, fault: Fault, ohm: float) -> BranchSpec:
    if not isinstance(b.load, MovingSpec | MotorSpec):
        raise ValueError(f"stuck_armature: nothing moves in the load of channel {b.channel}")
    return replace(b, load=replace(b.load, stuck=True))


def _no_suppression(b: BranchSpec, fault: Fault) -> ValueError:
    return ValueError(f"{fault.kind}: the load of channel {b.channel} has no suppression that could fail")


def _without_suppression(b: BranchSpec, fault: Fault, ohm: float) -> BranchSpec:
    if not isinstance(b.load, WoundSpec) or b.load.suppression.kind == "none":
        raise _no_suppression(b, fault)
    return replace(b, load=replace(b.load, suppression=SuppressionSpec()))


def _reversed_diode(b: BranchSpec, fault: Fault, ohm: float) -> BranchSpec:
    if not isinstance(b.load, WoundSpec) or b.load.suppression.kind == "none":
        raise _no_suppression(b, fault)
    if b.load.suppression.kind != "diode":
        raise ValueError(
            f"suppression_reversed: only a diode can be reversed; channel {b.channel} has a resistor"
        )
    return replace(b, load=replace(b.load, suppression=replace(b.load.suppression, reversed=True)))


def _wrong_load(b: BranchSpec, fault: Fault, ohm: float) -> BranchSpec:
    return replace(b, load=fault.load if fault.load is not None else another_load(b.load))


def another_load(load: LoadSpec | None) -> LoadSpec:
    """A load that somebody could have fitted by mistake."""
    if isinstance(load, InjectorSpec):
        if load.resistance_ohm > 6.0:
            return InjectorSpec(resistance_ohm=2.4, inductance_h=2.4e-3, pull_in_a=1.3)
        return InjectorSpec()
    if isinstance(load, LampSpec):
        return LampSpec(
            steady_current_a=load.steady_current_a * (0.25 if load.steady_current_a > 1.0 else 4.0)
        )
    if isinstance(load, WoundSpec) and load.resistance_ohm < 15.0:
        return ValveSpec()
    return ValveSpec(resistance_ohm=8.0, inductance_h=20e-3, pull_in_a=0.5)


class Amount(Enum):
    """What the size of a fault is measured in."""

    OHM = "ohm"
    SHARE = "share of turns"
    BREAKS = "breaks a second"
    CAVITIES = "cavities, negative toward lower numbers"


class FaultSite(Enum):
    """What is named to say where a fault is."""

    CHANNEL = "a channel"
    TWO_CHANNELS = "two channels"
    CHANNEL_AND_LOAD = "a channel and the load fitted instead"
    CONNECTOR = "a connector"
    FEED = "a feed"
    SUPPLY = "nothing: there is one supply"


@dataclass(frozen=True)
class Making:
    """How one kind of fault is made.

    Attributes:
        make: changes a loom.
        amount: what its size is measured in; None where it has none.
        usual_ohm: where no resistance is given.
        site: what says where it is.
    """

    make: Callable[[LoomSpec, Fault, float], LoomSpec]
    amount: Amount | None = None
    usual_ohm: float = 0.0
    site: FaultSite = FaultSite.CHANNEL


_JOINED_OHM = 0.02
_LOST_GROUND = "lost"

MAKING: Mapping[FaultKind, Making] = {
    FaultKind.OPEN: Making(_on_branch(_open)),
    FaultKind.SHORT_TO_GROUND: Making(_on_branch(_to_ground), Amount.OHM, _JOINED_OHM),
    FaultKind.LEAK_TO_GROUND: Making(_on_branch(_to_ground), Amount.OHM, 10.0),
    FaultKind.SHORT_TO_SUPPLY: Making(_on_branch(_to_supply), Amount.OHM, _JOINED_OHM),
    FaultKind.SHORT_ACROSS_LOAD: Making(_on_load(_across), Amount.OHM, _JOINED_OHM),
    FaultKind.ADDED_RESISTANCE: Making(_on_branch(_series), Amount.OHM, 5.0),
    FaultKind.SWAPPED: Making(_swapped, site=FaultSite.TWO_CHANNELS),
    FaultKind.SHIFTED: Making(_shifted, Amount.CAVITIES, site=FaultSite.CONNECTOR),
    FaultKind.BRIDGED: Making(_bridged, Amount.OHM, _JOINED_OHM, FaultSite.TWO_CHANNELS),
    FaultKind.TWO_ON_ONE_WIRE: Making(_two_on_one_wire, site=FaultSite.TWO_CHANNELS),
    FaultKind.GROUND_OPEN: Making(_ground_lost),
    FaultKind.FEED_OPEN: Making(_on_feed(_dead_feed), site=FaultSite.FEED),
    FaultKind.FEED_WEAK: Making(_on_feed(_weak_feed), Amount.OHM, 1.5, FaultSite.FEED),
    FaultKind.SHORTED_TURNS: Making(_on_load(_shorted_turns), Amount.SHARE),
    FaultKind.STUCK_ARMATURE: Making(_on_load(_stuck)),
    FaultKind.SUPPRESSION_MISSING: Making(_on_load(_without_suppression)),
    FaultKind.SUPPRESSION_REVERSED: Making(_on_load(_reversed_diode)),
    FaultKind.WRONG_LOAD: Making(_on_load(_wrong_load), site=FaultSite.CHANNEL_AND_LOAD),
    FaultKind.WRONG_SET: Making(_wrong_set, site=FaultSite.CHANNEL_AND_LOAD),
    FaultKind.INTERMITTENT: Making(_on_branch(_intermittent), Amount.BREAKS),
    FaultKind.WEAK_SUPPLY: Making(_weak_supply, Amount.OHM, 0.6, FaultSite.SUPPLY),
}


def apply_fault(loom: LoomSpec, fault: Fault) -> LoomSpec:
    """The loom with one fault in it.

    Raises:
        ValueError: the fault does not fit the loom (no such channel or feed, nothing there to fail).
    """
    making = MAKING[fault.kind]
    ohm = making.usual_ohm if fault.ohm is None else fault.ohm
    if ohm < 0.0:
        raise ValueError(f"{fault.kind}: a resistance cannot be {ohm} ohm; give 0 or more")
    return making.make(loom, fault, ohm)
