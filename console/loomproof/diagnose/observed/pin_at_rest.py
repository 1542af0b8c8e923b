"""Where a channel's pin rests with every output off, and what that says of its load."""

from __future__ import annotations

from dataclasses import dataclass

from loomproof.diagnose.expected.stated import direct_ohm
from loomproof.diagnose.observed.features import PULLED_DOWN, Rest
from loomproof.facts.evidence import LoomEvidence
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import LOGIC_KINDS
from loomproof.job.model import Job

_LEAST_BIAS_OHM = 20_000.0
"""Behind the bias of any box; judgment. The boxes here have 47 kilohm."""
_FEW_KILOHM = 500.0
_FED_SHARE = 0.6
"""A feed on which no pin rests at this share of the supply says nothing of what feeds its loads; judgment."""

# An input hangs between pin and ground. One with a resistor to its own supply rests in between: that says nothing.
_LOGIC_REST = {
    Rest.GROUNDED: Rest.HELD_LOW,
    Rest.CONNECTED: Rest.HELD_HIGH,
    Rest.FLOATING: Rest.FLOATING,
}


def rest_state(
    rest_v: float | None, supply_v: float | None, bias_v: float, u_v: float, load_ohm: float
) -> Rest:
    """Words for a resting drain voltage.

    A load pulls the drain to the supply but for what the bias resistor takes through it; a path to ground pulls it
    down from there.

    Args:
        rest_v: the drain with every output off; None where it was not read.
        supply_v: the supply at rest; None where it was not read.
        bias_v: where an unconnected pin rests.
        u_v: standard uncertainty of a drain reading.
        load_ohm: the load's.

    Returns:
        Where the pin rests.
    """
    if rest_v is None or supply_v is None:
        return Rest.UNKNOWN
    slack = max(0.15, 4.0 * u_v)
    sag_v = max(supply_v - bias_v, 0.0) * load_ohm / (load_ohm + _LEAST_BIAS_OHM)
    if rest_v > supply_v - max(0.5, 4.0 * u_v) - 2.0 * sag_v:
        return Rest.CONNECTED
    if abs(rest_v - bias_v) < 2.0 * slack:
        return Rest.FLOATING
    if rest_v < max(0.5, 4.0 * u_v):
        return Rest.GROUNDED
    return Rest.BETWEEN


def _fed_v(job: Job, evidence: LoomEvidence, channel: int) -> float | None:
    """What feeds a channel's load at rest: the supply, or the highest pin on its feed.

    A leak at one load draws its current through the feed they share, and the pins of its neighbours rest lower for it.
    """
    supply_v, feed = evidence.supply_rest_v, job.channel(channel).feed
    beside = [
        pin
        for c in job.channels
        if c.feed == feed and c.fitted and job.load_type(c.channel).kind not in LOGIC_KINDS
        if (pin := evidence.of(c.channel).resting_drain_v) is not None
    ]
    if supply_v is None or feed is None or len(beside) < 2 or max(beside) < _FED_SHARE * supply_v:
        return supply_v
    return min(supply_v, max(beside))


def _leak_ohm(rest_v: float | None, supply_v: float | None, load: LoadType) -> float | None:
    """What pulls a pin down from its load: the two divide the supply."""
    ohm = direct_ohm(load)
    if rest_v is None or supply_v is None or ohm is None or rest_v >= supply_v:
        return None
    return ohm.value * max(rest_v, 0.0) / (supply_v - rest_v)


@dataclass(frozen=True)
class PinAtRest:
    """Where a pin rests.

    Attributes:
        word: for it.
        pin_v: as read; None where nothing would hold it anyway.
        leak_ohm: what would pull it from its load to there.
    """

    word: Rest
    pin_v: float | None = None
    leak_ohm: float | None = None

    @property
    def load_a(self) -> float | None:
        """What flows through its load all the time."""
        if self.pin_v is None or not self.leak_ohm:
            return None
        return self.pin_v / self.leak_ohm


def pin_at_rest(job: Job, evidence: LoomEvidence, channel: int) -> PinAtRest:
    """Where a channel's pin rests. The pins of half-bridges do not rest where their load would hold them.

    Args:
        job: the loom's.
        evidence: everything seen of it.
        channel: a fitted one.
    """
    load, pin_v = job.load_type(channel), evidence.of(channel).resting_drain_v
    if job.channel(channel).partner is not None:
        return PinAtRest(Rest.UNKNOWN)
    ohm, fed_v = direct_ohm(load), _fed_v(job, evidence, channel)
    logic = load.kind in LOGIC_KINDS
    load_ohm = _FEW_KILOHM if ohm is None or logic else ohm.value
    rest = rest_state(pin_v, fed_v, evidence.bias_v, evidence.drain_u_v, load_ohm)
    if logic:
        return PinAtRest(_LOGIC_REST.get(rest, Rest.UNKNOWN), pin_v)
    # At the bias by chance, or because nothing is there.
    leak_ohm = None if rest is Rest.CONNECTED else _leak_ohm(pin_v, fed_v, load)
    return PinAtRest(rest, pin_v, leak_ohm)


def on_at_rest(job: Job, evidence: LoomEvidence) -> dict[int, PinAtRest]:
    """The channels whose load, if it is there, is on more or less while every output is off."""
    found = {c.channel: pin_at_rest(job, evidence, c.channel) for c in job.channels if c.fitted}
    return {channel: rest for channel, rest in found.items() if rest.word in PULLED_DOWN}


def holds_something(job: Job, evidence: LoomEvidence, channel: int) -> bool:
    """Whether a pin rests elsewhere than where nothing holds it."""
    return pin_at_rest(job, evidence, channel).word not in {Rest.FLOATING, Rest.UNKNOWN}
