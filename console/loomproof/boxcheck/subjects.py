"""The channels that cases may drive, and which channels of a job are harmless enough for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from loomproof.boxcheck.need import Need
from loomproof.facts.kinds import HazardClass
from loomproof.job.load_traits import LOAD_TRAITS
from loomproof.job.model import Job
from loomproof_wire.messages import ChannelKind, LoadClass

SWITCHED = (ChannelKind.LOW_SIDE, ChannelKind.HIGH_SIDE)
LEAST_ON_TIME_MS = 5.0
LEAST_HOLD_MS = 1200.0
LEAST_DUTY = 0.8


@dataclass(frozen=True)
class Subject:
    """A channel that cases may drive, with the limits of its load.

    Attributes:
        channel: number of the channel.
        load_class: the class that it is configured with.
        max_current_ma: trip level for drives that must not trip.
        max_on_time_us: longest pulse.
        max_hold_ms: longest hold.
    """

    channel: int
    load_class: LoadClass = LoadClass.RELAY
    max_current_ma: int = 3000
    max_on_time_us: int = 20_000
    max_hold_ms: int = 2000


@dataclass(frozen=True)
class Subjects:
    """Every channel that may be driven: low-side and high-side ones, and a half-bridge pair if there is one."""

    switched: tuple[Subject, ...] = ()
    bridge: tuple[int, int] | None = None

    def meets(self) -> frozenset[Need]:
        """Return the needs that these channels meet."""
        enough = {Need.CHANNEL: 1, Need.TWO: 2, Need.FOUR: 4}
        met = {need for need, count in enough.items() if len(self.switched) >= count}
        return frozenset(met | ({Need.BRIDGE} if self.bridge else set()))

    def sorted_by(self, kinds: Mapping[int, ChannelKind]) -> Subjects:
        """Return these channels sorted by driver: two half-bridges as the pair, the switched ones in order."""
        halves = [s.channel for s in self.switched if kinds.get(s.channel) is ChannelKind.HALF_BRIDGE]
        pair = (halves[0], halves[1]) if len(halves) >= 2 else None
        plain = tuple(s for s in self.switched if kinds.get(s.channel) in SWITCHED)
        return Subjects(plain, self.bridge or pair)


def harmless_subjects(job: Job) -> Subjects:
    """Return the relays, valves and lamps of a job that have no hazard and withstand the suite.

    A relay is harmless only if the load on its contacts is; the job states that with its hazard class.
    """
    found: list[tuple[int, Subject]] = []
    for channel in job.channels:
        load = job.load_type(channel.channel)
        rank = LOAD_TRAITS[load.kind].box_check_rank
        harmless = load.hazard is HazardClass.NONE and not channel.fuel_pump
        if rank is None or not harmless or not channel.fitted or channel.partner is not None:
            continue
        limits = load.limits
        bears = (
            limits.max_on_time_ms >= LEAST_ON_TIME_MS
            and limits.max_hold_ms >= LEAST_HOLD_MS
            and limits.max_duty >= LEAST_DUTY
        )
        if bears:
            subject = Subject(
                channel.channel,
                LoadClass[load.kind.name],
                max_current_ma=max(10, round(limits.max_current_a * 1000)),
                max_on_time_us=min(20_000, round(limits.max_on_time_ms * 1000)),
                max_hold_ms=min(2000, round(limits.max_hold_ms)),
            )
            found.append((rank, subject))
    found.sort(key=lambda ranked: (ranked[0], ranked[1].channel))
    return Subjects(tuple(subject for _, subject in found))
