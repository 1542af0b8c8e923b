"""From a job to the loom behind the pins: sound parts, each drawn within its tolerance."""

from dataclasses import replace
from math import log

import numpy as np

from loomproof.facts.kinds import LoadKind, Suppression
from loomproof.job.load_traits import LOAD_TRAITS, LOGIC_KINDS, REFERENCE_V, Nature
from loomproof.job.load_type import LoadType
from loomproof.job.model import Job
from loomproof.job.quantity import Quantity
from loomproof_sim.plant.spec import (
    BranchSpec,
    CoilSpec,
    DriverSpec,
    FeedSpec,
    IgniterSpec,
    InjectorSpec,
    LampSpec,
    LoadSpec,
    LogicInputSpec,
    LoomSpec,
    MotorSpec,
    RelaySpec,
    SupplySpec,
    SuppressionSpec,
    ValveSpec,
    WindingSpec,
)
from loomproof_sim.profiles import BoardProfile
from loomproof_wire.messages import ChannelKind

FUSE_AND_CONTACT_OHM = 0.008
"""Of a feed, beside its wire: a blade fuse and its contacts (common practice, no source)."""
LOGIC_DRIVER_OHM = 22.0
ARMATURES: dict[LoadKind, type[InjectorSpec] | type[RelaySpec] | type[ValveSpec]] = {
    LoadKind.INJECTOR: InjectorSpec,
    LoadKind.RELAY: RelaySpec,
    LoadKind.VALVE: ValveSpec,
}
"""The model of each kind with an armature."""
_BATCH_SHARE = 0.7
_PART_SHARE = 0.25


class Draw:
    """Sound parts. Those of one type come from one batch: they share most of their deviation.

    Args:
        seed: the same seed gives the same parts.
        spread: 0 = every part at its nominal value, 1 = up to 95 % of the tolerance is used.
    """

    def __init__(self, seed: int, spread: float) -> None:
        self._seed = seed
        self._spread = spread
        self._parts = np.random.default_rng((seed, 11))
        self._batches: dict[tuple[str, str], float] = {}

    def value(self, quantity: Quantity, load_key: str, name: str) -> float:
        """Return one part's value of a quantity."""
        batch = self._batches.get((load_key, name))
        if batch is None:
            key = [ord(letter) for letter in load_key + name]
            batch = float(np.random.default_rng((self._seed, 12, *key)).uniform(-1, 1))
            self._batches[load_key, name] = batch
        own = float(np.clip(self._parts.standard_normal() / 2.5, -1, 1))
        deviation = self._spread * (_BATCH_SHARE * batch + _PART_SHARE * own)
        return quantity.value * (1 + deviation * quantity.tolerance_percent / 100)

    def of(self, load: LoadType, name: str, default: float, scale: float = 1.0) -> float:
        """Return one part's value of a quantity in SI units.

        Args:
            load: its type.
            name: the quantity's key.
            default: taken where the type does not state it, as it is.
            scale: from the key's unit to SI.

        Returns:
            The value.
        """
        quantity: Quantity | None = getattr(load, name)
        return default if quantity is None else self.value(quantity, load.key, name) * scale


def channel_kinds(job: Job) -> dict[int, ChannelKind]:
    """Return what has to drive each channel of a job."""
    kinds = {}
    for channel in job.channels:
        kind = ChannelKind.LOW_SIDE
        if channel.partner is not None:
            kind = ChannelKind.HALF_BRIDGE
        elif job.load_type(channel.channel).kind in LOGIC_KINDS:
            kind = ChannelKind.LOGIC
        kinds[channel.channel] = kind
    return kinds


def load_spec(load: LoadType, draw: Draw) -> LoadSpec:
    """Return one sound part of a load type."""
    match LOAD_TRAITS[load.kind].nature:
        case Nature.FILAMENT:
            return LampSpec(
                steady_current_a=draw.of(load, "steady_current_a", 1.556),
                resistance_ohm=draw.of(load, "resistance_ohm", 0.0) or None,
            )
        case Nature.INPUT:
            if LOAD_TRAITS[load.kind].sparks:
                return IgniterSpec(input_ohm=draw.of(load, "resistance_ohm", 500.0))
            return LogicInputSpec(input_ohm=draw.of(load, "resistance_ohm", 10_000.0))
        case _:
            return _wound(load, draw)


def _wound(load: LoadType, draw: Draw) -> LoadSpec:
    resistance_ohm = draw.of(load, "resistance_ohm", 20.0)
    inductance_h = draw.of(load, "inductance_mh", 10.0, 1e-3) if load.inductance_mh else 10e-3
    coefficient = load.temperature_coefficient_per_k
    suppression = _suppression(load, draw)
    nature = LOAD_TRAITS[load.kind].nature
    if nature is Nature.ROTOR:
        return _motor(load, draw, resistance_ohm, inductance_h)
    if nature is Nature.SPARK_PRIMARY:
        return CoilSpec(
            resistance_ohm=resistance_ohm,
            inductance_h=inductance_h,
            temperature_coefficient_per_k=coefficient,
            saturation_a=draw.of(load, "saturation_a", 9.0),
        )
    if load.kind not in ARMATURES:
        return WindingSpec(
            resistance_ohm=resistance_ohm,
            inductance_h=inductance_h,
            temperature_coefficient_per_k=coefficient,
            suppression=suppression,
        )
    pull_in_a = draw.of(load, "pull_in_a", 0.2)
    opening_s = draw.of(load, "opening_ms", 4.0, 1e-3) if load.opening_ms else 4e-3
    return ARMATURES[load.kind](
        resistance_ohm=resistance_ohm,
        inductance_h=inductance_h,
        temperature_coefficient_per_k=coefficient,
        suppression=suppression,
        pull_in_a=pull_in_a,
        opening_s=max(opening_s, _soonest_s(resistance_ohm, inductance_h, pull_in_a)),
    )


def _soonest_s(resistance_ohm: float, inductance_h: float, pull_in_a: float) -> float:
    """Return the shortest opening time at the reference voltage: 1.3 times the time to the pull-in current."""
    share = min(0.98, pull_in_a * resistance_ohm / REFERENCE_V)
    return -1.3 * inductance_h / resistance_ohm * log(1 - share)


def _suppression(load: LoadType, draw: Draw) -> SuppressionSpec:
    if load.suppression is Suppression.DIODE:
        return SuppressionSpec(kind="diode")
    if load.suppression is Suppression.RESISTOR:
        return SuppressionSpec(kind="resistor", ohm=draw.of(load, "suppression_ohm", 680.0))
    return SuppressionSpec()


def _motor(load: LoadType, draw: Draw, resistance_ohm: float, inductance_h: float) -> MotorSpec:
    """Return a motor that draws its steady current at the reference voltage: V = R*i + k*w, k*i = friction*w."""
    steady_a = draw.of(load, "steady_current_a", 1.0)
    constant = 0.02
    speed = max(1.0, (REFERENCE_V - resistance_ohm * steady_a) / constant)
    return MotorSpec(
        resistance_ohm=resistance_ohm,
        inductance_h=inductance_h,
        temperature_coefficient_per_k=load.temperature_coefficient_per_k,
        emf_constant_v_s=constant,
        friction_n_m_s=constant * steady_a / speed,
    )


def sound_loom(
    job: Job, draw: Draw, profile: BoardProfile, supply: SupplySpec, temperature_c: float
) -> LoomSpec:
    """Return the loom of a job as it should be.

    Args:
        job: the job.
        draw: gives each load its values within their tolerances.
        profile: of the box, whose spare channels have no load.
        supply: what feeds it.
        temperature_c: of everything.

    Returns:
        The loom, every channel of the box in it.
    """
    kinds = channel_kinds(job)
    branches = []
    for channel in sorted(job.channels, key=lambda one: one.channel):
        load: LoadSpec | None = None
        partner = channel.partner
        second = partner is not None and partner < channel.channel
        if channel.fitted and not second:
            load = load_spec(job.load_type(channel.channel), draw)
        branches.append(
            BranchSpec(
                channel=channel.channel,
                load=load,
                feed_id=None if partner is not None else channel.feed,
                wire_ohm=job.wire_ohm(channel.channel),
                partner=None if second else partner,
            )
        )
    spare = set(range(1, profile.channel_count + 1)) - {branch.channel for branch in branches}
    branches += [BranchSpec(channel=number, load=None) for number in sorted(spare)]
    feeds = tuple(FeedSpec(feed.id, job.feed_ohm(feed.id) + FUSE_AND_CONTACT_OHM) for feed in job.feeds)
    drivers = {number: driver(kind, profile) for number, kind in kinds.items()}
    return LoomSpec(supply, feeds, tuple(branches), drivers, temperature_c=temperature_c)


def driver(kind: ChannelKind, profile: BoardProfile) -> DriverSpec:
    """Return the output stage of a channel."""
    low_side = DriverSpec(clamp_v=profile.clamp_v, bias_v=profile.bias_v, bias_ohm=profile.bias_ohm)
    if kind is ChannelKind.LOGIC:
        return replace(low_side, kind="logic", on_ohm=LOGIC_DRIVER_OHM)
    if kind is ChannelKind.HALF_BRIDGE:
        return replace(low_side, kind="half_bridge")
    return low_side
