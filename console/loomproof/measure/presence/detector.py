"""Which channel lost its load and which got it back: a sequential test on scans of all channels (pure, streaming).

A load of a switched-off channel holds the pin at one of the rails; without it the pin rests at the box's bias.
Where the pin shows nothing, the current at the end of a sense pulse does. Each scan adds the logarithm of
p(reading | no load) / p(reading | load) to a cumulative sum that never falls below zero (Page 1954). Such a sum
reaches h at most once in exp(h) readings on average while nothing happens (Lorden 1971), so h is not picked but
follows from the wanted false alarms per hour, the scan rate and the number of channels.

Noise has tails here: both densities are a normal one mixed with a small uniform one, so a single wild reading,
however far out, carries a bounded weight and a second one must agree.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from loomproof.facts.presence import Cause, Change, LoadPresence, Reading, ScanReading
from loomproof.measure.presence.channel import ChannelTest

SUPPLY_LEAST_V = 6.0
"""Below this the box itself calls the supply lost, and a pin says nothing about its load."""
_SUPPLY_FALL = 0.5  # a supply under this share of its usual value is not compared with the template either


@dataclass(frozen=True, slots=True)
class PresenceDesign:
    """What the detector is built for.

    Attributes:
        scan_hz: scans per second that will be fed; only the false alarm rate depends on it.
        false_alarms_per_hour: wanted mean number, all channels together, of losses reported of an untouched loom.
        wild_share: share of readings taken to be worth nothing (an electric shock to the pin, a touch).
        learning_scans: scans from which a template is made.
        drift_s: time constant with which the template follows a load that is there.
        together_s: losses within this time are one event.
    """

    scan_hz: float = 10.0
    false_alarms_per_hour: float = 1.0 / 24.0
    wild_share: float = 1e-3
    learning_scans: int = 5
    drift_s: float = 10.0
    together_s: float = 0.25

    def __post_init__(self) -> None:
        """Refuses a design that cannot work."""
        if not (self.scan_hz > 0.0 and self.false_alarms_per_hour > 0.0):
            raise ValueError("scan rate and false alarms per hour are above zero")
        if not 0.0 < self.wild_share < 0.1:
            raise ValueError("the share of wild readings lies between 0 and 0.1")
        if self.learning_scans < 2:
            raise ValueError("a template needs at least two scans")

    def threshold(self, channels: int) -> float:
        """The level in nats: its exponential is the readings per false alarm (Lorden 1971), shared by all channels."""
        readings_per_hour = 3600.0 * self.scan_hz * max(channels, 1)
        return math.log(readings_per_hour / self.false_alarms_per_hour)


@dataclass
class PresenceDetector:
    """Follows the loads of all channels scan by scan. Feed it everything seated first: it learns that.

    One scan is never enough, so scan again at once while it is not `settled`: that halves the time to an answer.

    Args:
        design: wanted false alarms and the like.
        connectors: channels that share a connector; a channel named nowhere stands for itself.
    """

    design: PresenceDesign = field(default_factory=PresenceDesign)
    connectors: Iterable[frozenset[int]] = ()
    _tests: dict[int, ChannelTest] = field(default_factory=dict, init=False)
    _recent: dict[int, float] = field(default_factory=dict, init=False)
    _supply_usual_v: float = field(default=0.0, init=False)
    _supply_present: bool = field(default=True, init=False)

    def __post_init__(self) -> None:
        """Where each channel sits."""
        self._seat = {c: n for n, group in enumerate(self.connectors) for c in group}

    @property
    def states(self) -> Mapping[int, LoadPresence]:
        """Every channel fed so far."""
        return {channel: test.state for channel, test in self._tests.items()}

    def channels(self, state: LoadPresence) -> frozenset[int]:
        """Channels in one state."""
        return frozenset(c for c, test in self._tests.items() if test.state is state)

    @property
    def present(self) -> frozenset[int]:
        """Channels with their load."""
        return self.channels(LoadPresence.PRESENT)

    @property
    def lost(self) -> frozenset[int]:
        """Channels that had a load and have it no longer."""
        return self.channels(LoadPresence.LOST)

    @property
    def blind(self) -> frozenset[int]:
        """Channels that show no load: none there, or one that neither pin nor sense pulse sees."""
        return self.channels(LoadPresence.BLIND)

    @property
    def learning(self) -> bool:
        """Whether some channel has not had its learning scans."""
        return not self._tests or bool(self.channels(LoadPresence.LEARNING))

    @property
    def settled(self) -> bool:
        """Whether no channel is on its way from one state to the other."""
        return not any(test.turning for test in self._tests.values())

    @property
    def supply_present(self) -> bool:
        """Whether the last scan had a supply to judge by."""
        return self._supply_present

    def feed(self, time_s: float, supply_v: float, readings: Mapping[int, Reading]) -> tuple[Change, ...]:
        """Take in one scan.

        Args:
            time_s: when; any clock that runs evenly.
            supply_v: supply in the same scan.
            readings: the channels it covered; not every scan need cover all.

        Returns:
            What changed with it, mostly nothing.
        """
        if not self._has_supply(supply_v):
            gone = self._supply_present
            self._supply_present = False
            for test in self._tests.values():
                test.doubt()
            return (Change(time_s, cause=Cause.SUPPLY, supply_present=False),) if gone else ()
        back = () if self._supply_present else (Change(time_s, cause=Cause.SUPPLY),)
        self._supply_present = True
        threshold = self.design.threshold(len(self._tests.keys() | readings.keys()))
        changed = [c for c, reading in readings.items() if self._test(c).feed(supply_v, reading, threshold)]
        return (*back, *self._tell(time_s, changed))

    def _test(self, channel: int) -> ChannelTest:
        if channel not in self._tests:
            design = self.design
            gain = 1.0 / (1.0 + design.drift_s * design.scan_hz)
            self._tests[channel] = ChannelTest(design.learning_scans, design.wild_share, gain)
        return self._tests[channel]

    def _has_supply(self, supply_v: float) -> bool:
        if supply_v < max(SUPPLY_LEAST_V, _SUPPLY_FALL * self._supply_usual_v):
            return False
        gain = 0.5 if self.learning else 1.0 / (1.0 + self.design.drift_s * self.design.scan_hz)
        usual = self._supply_usual_v or supply_v
        self._supply_usual_v = usual + gain * (supply_v - usual)
        return True

    def _tell(self, time_s: float, changed: list[int]) -> tuple[Change, ...]:
        if not changed:
            return ()
        lost = frozenset(c for c in changed if self._tests[c].state is LoadPresence.LOST)
        regained = frozenset(changed) - lost
        self._recent = {c: t for c, t in self._recent.items() if time_s - t <= self.design.together_s}
        self._recent.update(dict.fromkeys(lost, time_s))
        seats = {self._seat.get(c, -c) for c in self._recent}
        cause = Cause.SHARED if lost and len(seats) >= 3 else Cause.CONNECTOR
        elsewhere = frozenset(c for c in lost if self._tests[c].elsewhere)
        return (Change(time_s, lost, regained, cause, elsewhere),)


__all__ = ["Cause", "Change", "LoadPresence", "PresenceDesign", "PresenceDetector", "Reading", "ScanReading"]
