"""Looking at the loads during a walk: scans of resting pins, sense pulses only where a pin tells nothing."""

from __future__ import annotations

from collections.abc import Iterable

from loomproof.facts.presence import ScanReading
from loomproof.facts.step import StepEnd
from loomproof.measure.presence.detector import PresenceDesign, PresenceDetector
from loomproof.procedure.context import Core
from loomproof.procedure.conversion import scan_of, supply_of
from loomproof.procedure.drive.first_pulse import first_pulses
from loomproof.procedure.step_result import StepInterruptedError
from loomproof.procedure.walk.model import Look
from loomproof.safety.approve import NotPermittedError
from loomproof.safety.load_model import LoadModel

PERIOD_S = 0.05
"""From one scan to the next."""
SENSE_US = 60
MUTE_V = 0.5
MUTE_SIGMAS = 6.0
"""A pin that rests this near to its bias, in volts or in its noise, does not show its load."""
LEARNING_SCANS = 5


def make_detector() -> PresenceDetector:
    """Return the detector for this rate of scans."""
    return PresenceDetector(PresenceDesign(scan_hz=1.0 / PERIOD_S, learning_scans=LEARNING_SCANS))


def rests_away(seen: ScanReading) -> bool:
    """Whether a pin rests where a load holds it, so that a break can be watched for without driving."""
    return abs(seen.drain_v - seen.bias_v) > max(MUTE_V, MUTE_SIGMAS * seen.drain_u_v)


def shows_load(core: Core, channel: int) -> bool:
    """The same of a channel now."""
    return rests_away(scan_of(core.box.scan((channel,), 0), core.calibrations)[channel])


def sensed_energy_j(model: LoadModel, on_time_us: int) -> float:
    """Most energy in J that one sense pulse can take from the supply, whatever becomes of it in the load.

    Of an inductance L at the voltage V the current is at most V t / L, of a resistance R at most V / R.
    """
    on_s, found = on_time_us * 1e-6, []
    if model.inductance_h > 0.0:
        found.append(model.supply_v**2 * on_s**2 / (2.0 * model.inductance_h))
    if model.resistance_ohm:
        found.append(model.supply_v**2 * on_s / model.resistance_ohm)
    return min(found, default=0.0)


class Eyes:
    """Scans for a walk or a single pull check, and the detector that judges them."""

    def __init__(self, core: Core) -> None:
        self._core = core
        self.detector = make_detector()
        fitted = {entry.channel for entry in core.job.channels if entry.fitted}
        self.channels = tuple(c for c in sorted(core.calibrations) if c in fitted)
        self.mute: tuple[int, ...] = ()

    def learn(self) -> None:
        """Look at everything seated until the detector knows it.

        Raises:
            NotPermittedError: a pin has to be pulsed and nobody has stated that nothing can be set off.
            StepInterruptedError: everything is stopped, or a pin looks like an initiator.
            BoxError: the box refused or is gone.
        """
        resting, _ = self._rest()
        self.mute = tuple(c for c, seen in resting.items() if not rests_away(seen))
        if self.mute:
            first_pulses(self._core, self.mute)
        while self.detector.learning:
            self._core.box.sleep(PERIOD_S)
            self.look()
        self.mute = tuple(c for c in self.mute if c not in self.detector.blind)

    def look(self) -> Look:
        """Make one scan and let the detector judge it.

        After a lost supply something else may hang on a pin: its next pulse is a first one again, and stated anew.

        Raises:
            StepInterruptedError: everything is stopped, a pin looks like an initiator, or what was stated no longer holds.
            BoxError: the box refused or is gone.
        """
        scan, supply_v = self._rest()
        if self.mute:
            try:
                first_pulses(self._core, self.mute)
            except NotPermittedError as blocked:
                raise StepInterruptedError(StepEnd.BLOCKED, str(blocked)) from blocked
            scan.update(scan_of(self._core.box.scan(self.mute, SENSE_US), self._core.calibrations))
        now_s = self._core.box.now_s()
        self.detector.feed(now_s, supply_v, scan)
        return Look(now_s, self.detector.lost, self.detector.supply_present)

    def _rest(self) -> tuple[dict[int, ScanReading], float]:
        core = self._core
        core.check()
        raw = core.box.scan(self.channels, 0)
        supply_v = supply_of(raw, core.calibrations[self.channels[0]])
        core.supply_v = max(core.supply_v, supply_v)
        return scan_of(raw, core.calibrations), supply_v

    def sentence(self) -> str:
        """What the looking does to the loads, in words, for the operator and the record."""
        core = self._core
        if not self.mute:
            return "Only resting pins are read: nothing is switched on at all."
        energies = [
            sensed_energy_j(
                core.conditions.budget(c).model, min(SENSE_US, core.conditions.budget(c).max_sense_us)
            )
            for c in self.mute
        ]
        most_mj = max(energies) * 1e3
        return (
            f"Channel {_listed(self.mute)}: sense pulses of at most {SENSE_US} µs, {1 / PERIOD_S:g} a second, "
            f"at most {most_mj:.2g} mJ each and {most_mj / PERIOD_S:.2g} mW on average; too short to move or "
            "spark anything. Of all other channels only the resting pin is read."
        )


def _listed(channels: Iterable[int]) -> str:
    return ", ".join(str(channel) for channel in channels)
