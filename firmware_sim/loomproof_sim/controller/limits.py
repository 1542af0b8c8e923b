"""Limits of a channel: hazards bound to load classes, the box's ceilings, and the channel's configuration."""

from dataclasses import dataclass, fields, replace
from math import sqrt

from loomproof.job.load_traits import (
    LEAST_SPARK_COIL_H,
    LOAD_TRAITS,
    PLAIN_CEILINGS,
    SENSE_ENERGY_J,
)
from loomproof_wire.messages import (
    CEILINGS,
    ChannelConfig,
    ChannelKind,
    Configure,
    Hazard,
    LoadClass,
    Refusal,
)


class RefuseError(Exception):
    """A request that is not carried out.

    Attributes:
        reason: the reason declared for the wire.
        detail: the number that goes with the reason.
    """

    def __init__(self, reason: Refusal, detail: int = 0) -> None:
        super().__init__(f"{reason.name.lower()} ({detail})")
        self.reason = reason
        self.detail = detail


_TRAITS = {LoadClass[kind.name]: traits for kind, traits in LOAD_TRAITS.items()}
BOUND_HAZARD = {LoadClass.NONE: Hazard.NONE} | {
    load_class: Hazard[traits.hazard.name] for load_class, traits in _TRAITS.items()
}
"""Hazard of a load class, whatever the console configures."""
MAY_CRANK = frozenset(load_class for load_class, traits in _TRAITS.items() if traits.may_crank)
"""Load classes that need `crank` alone when they are configured `crank`."""
SPARKING = frozenset(load_class for load_class, traits in _TRAITS.items() if traits.sparks)

LOGIC_MAX_CURRENT_MA = 200
STEPPER_PERMILLE = 250
"""A winding's duty: one of four windings is on at a time."""
HIGH_SUPPLY_V = 15.0
HIGH_SUPPLY_SENSE_US = 80


def hazards_of(load_class: LoadClass, hazard: Hazard) -> frozenset[Hazard]:
    """Return the classes to be armed for a load: that of its load class and the configured one."""
    bound = BOUND_HAZARD[load_class]
    if load_class in MAY_CRANK and hazard is Hazard.CRANK:
        bound = Hazard.CRANK
    return frozenset({bound, hazard} - {Hazard.NONE})


@dataclass(frozen=True)
class ChannelCeilings:
    """The most that the box itself allows on a channel, whatever is configured."""

    max_on_time_us: int = CEILINGS.max_on_time_us
    max_hold_ms: int = CEILINGS.max_hold_ms
    max_duty_permille: int = CEILINGS.max_duty_permille
    max_count: int = CEILINGS.max_count
    max_current_ma: int = CEILINGS.max_current_ma
    max_sense_us: int = CEILINGS.max_sense_us


def ceilings_of(kind: ChannelKind) -> ChannelCeilings:
    """Return the ceilings of a channel; a half-bridge has no resting level and so gets no sense pulse."""
    if kind is ChannelKind.LOGIC:
        return ChannelCeilings(max_current_ma=LOGIC_MAX_CURRENT_MA)
    if kind is ChannelKind.HALF_BRIDGE:
        return ChannelCeilings(max_sense_us=0)
    return ChannelCeilings()


def class_ceilings(ceilings: ChannelCeilings, load_class: LoadClass, max_current_ma: int) -> ChannelCeilings:
    """Return the ceilings of a channel with a load of this class on it.

    Args:
        ceilings: those of the channel's driver.
        load_class: what hangs on it.
        max_current_ma: the current limit asked for, by which the energy of one pulse is bounded.
    """
    row = PLAIN_CEILINGS if load_class is LoadClass.NONE else _TRAITS[load_class].ceilings
    return replace(
        ceilings,
        max_on_time_us=min(ceilings.max_on_time_us, row.longest_us(max_current_ma)),
        max_hold_ms=min(ceilings.max_hold_ms, row.hold_ms),
        max_duty_permille=min(ceilings.max_duty_permille, row.duty_percent * 10),
        max_current_ma=min(ceilings.max_current_ma, row.current_ma),
    )


_TOO_MUCH = {
    "max_on_time_us": Refusal.OVER_ON_TIME,
    "max_hold_ms": Refusal.OVER_ON_TIME,
    "max_duty_permille": Refusal.OVER_DUTY,
    "max_count": Refusal.OVER_COUNT,
    "max_current_ma": Refusal.OVER_CURRENT_LIMIT,
    "max_sense_us": Refusal.OVER_ON_TIME,
}


class ChannelTable:
    """The configuration of every channel."""

    def __init__(self, kinds: dict[int, ChannelKind]) -> None:
        self.kinds = kinds
        self._configs: dict[int, ChannelConfig] = {}

    def kind(self, channel: int) -> ChannelKind:
        """Return the driver kind of a channel; refuse a channel that the box lacks."""
        if channel not in self.kinds:
            raise RefuseError(Refusal.NO_SUCH_CHANNEL, channel)
        return self.kinds[channel]

    def configure(self, request: Configure) -> None:
        """Store a configuration; refuse one that raises a ceiling or makes a fuel load a pump."""
        own = ceilings_of(self.kind(request.channel))
        ceilings = class_ceilings(own, request.load_class, request.max_current_ma)
        for name, reason in _TOO_MUCH.items():
            ceiling = int(getattr(ceilings, name))
            if getattr(request, name) > ceiling:
                raise RefuseError(reason, ceiling * 1000 if name == "max_hold_ms" else ceiling)
        if request.fuel_pump and Hazard.FUEL in hazards_of(request.load_class, request.hazard):
            raise RefuseError(Refusal.PUMP_CHANNEL, request.channel)
        names = [field.name for field in fields(ChannelConfig)]
        self._configs[request.channel] = ChannelConfig(**{name: getattr(request, name) for name in names})

    def config(self, channel: int) -> ChannelConfig:
        """Return the stored configuration; all zeros for a channel never configured."""
        self.kind(channel)
        return self._configs.get(
            channel, ChannelConfig(channel, LoadClass.NONE, Hazard.NONE, 0, 0, 0, 0, 0, 0, 0)
        )

    def usable(self, channel: int) -> ChannelConfig:
        """Return the configuration of a channel; refuse a channel without a load."""
        config = self.config(channel)
        if config.load_class is LoadClass.NONE:
            raise RefuseError(Refusal.NOT_CONFIGURED, channel)
        return config

    def all(self) -> list[ChannelConfig]:
        """Return every configuration in channel order."""
        return [self.config(channel) for channel in sorted(self.kinds)]

    def hazards(self, channels: tuple[int, ...]) -> frozenset[Hazard]:
        """Return the hazard classes to be armed for these channels."""
        configs = [self.config(channel) for channel in channels]
        return frozenset[Hazard]().union(*(hazards_of(c.load_class, c.hazard) for c in configs))


def check_pulses(config: ChannelConfig, *, count: int, period_us: int, on_time_us: int) -> None:
    """Refuse a pulse train over the channel's limits.

    Args:
        config: the channel's configuration.
        count: number of pulses.
        period_us: from one switch-on edge to the next.
        on_time_us: of each pulse.

    Raises:
        RefuseError: on-time, duty or count is over its limit.
    """
    if on_time_us > config.max_on_time_us:
        raise RefuseError(Refusal.OVER_ON_TIME, config.max_on_time_us)
    if on_time_us * 1000 > config.max_duty_permille * period_us:
        raise RefuseError(Refusal.OVER_DUTY, config.max_duty_permille)
    if count > config.max_count:
        raise RefuseError(Refusal.OVER_COUNT, config.max_count)


def check_hold(config: ChannelConfig, duration_ms: int) -> None:
    """Refuse a hold over the channel's limit; a limit of 0 allows no hold."""
    if duration_ms > config.max_hold_ms:
        raise RefuseError(Refusal.OVER_ON_TIME, config.max_hold_ms * 1000)


def check_step(config: ChannelConfig, *, steps: int, step_us: int) -> None:
    """Refuse a stepper sequence over the limits of one of its channels."""
    if step_us > config.max_on_time_us:
        raise RefuseError(Refusal.OVER_ON_TIME, config.max_on_time_us)
    if config.max_duty_permille < STEPPER_PERMILLE:
        raise RefuseError(Refusal.OVER_DUTY, config.max_duty_permille)
    if abs(steps) > config.max_count:
        raise RefuseError(Refusal.OVER_COUNT, config.max_count)


def sense_cap_us(config: ChannelConfig, kind: ChannelKind, supply_v: float) -> int:
    """Return the longest sense pulse: the configured cap, less on a high supply, 0.1 mJ in a coil of 1 mH.

    From E = (V*t)**2 / (2*L), the energy in an inductor that starts empty (any circuits textbook).
    """
    if config.load_class is LoadClass.NONE:
        return 0
    cap = min(config.max_sense_us, ceilings_of(kind).max_sense_us)
    if supply_v > HIGH_SUPPLY_V:
        cap = min(cap, HIGH_SUPPLY_SENSE_US)
    if config.load_class in SPARKING:
        cap = min(cap, int(1e6 * sqrt(2 * SENSE_ENERGY_J * LEAST_SPARK_COIL_H) / max(supply_v, 1.0)))
    return cap
