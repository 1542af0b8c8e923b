"""Which channels of a job are harmless enough for the suite to drive."""

from loomproof.boxcheck.bench import Subject, Subjects
from loomproof.job.kinds import HazardClass, LoadKind
from loomproof.job.model import Job
from loomproof_wire.messages import LoadClass

_CLASSES = {LoadKind.RELAY: LoadClass.RELAY, LoadKind.LAMP: LoadClass.LAMP, LoadKind.VALVE: LoadClass.VALVE}
LEAST_ON_TIME_MS = 5.0
LEAST_HOLD_MS = 1200.0
LEAST_DUTY = 0.8


def harmless_subjects(job: Job) -> Subjects:
    """Return the relays, valves and lamps of a job that have no hazard and bear what the suite does.

    A relay is harmless only if what it switches is: the job says so with its hazard class.
    """
    found = []
    for channel in job.channels:
        load = job.load_type(channel.channel)
        limits = load.limits
        harmless = load.hazard is HazardClass.NONE and load.kind in _CLASSES and channel.fitted
        bears = (
            limits.max_on_time_ms >= LEAST_ON_TIME_MS
            and limits.max_hold_ms >= LEAST_HOLD_MS
            and limits.max_duty >= LEAST_DUTY
        )
        if harmless and bears and not channel.fuel_pump and channel.partner is None:
            found.append(
                Subject(
                    channel.channel,
                    _CLASSES[load.kind],
                    max_current_ma=max(10, round(limits.max_current_a * 1000)),
                    max_on_time_us=min(20_000, round(limits.max_on_time_ms * 1000)),
                    max_hold_ms=min(2000, round(limits.max_hold_ms)),
                )
            )
    order = {LoadClass.RELAY: 0, LoadClass.VALVE: 1, LoadClass.LAMP: 2}
    return Subjects(tuple(sorted(found, key=lambda subject: (order[subject.load_class], subject.channel))))
