"""The boxes that the search plays with, behind one interface. All times are integer nanoseconds since power-on."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Protocol

import numpy as np

from loomproof_sim.controller.controller import Controller
from loomproof_sim.plant.spec import Drive
from loomproof_sim.profiles import REFERENCE
from loomproof_wire.messages import ChannelKind
from testbed.interleave.watcher import Slack

DRIVES = {Drive.OFF: 0, Drive.ON: 1, Drive.HIGH: 2, Drive.LOW: 3}
KINDS = {12: ChannelKind.HIGH_SIDE, 13: ChannelKind.LOGIC, 14: ChannelKind.LOGIC} | dict.fromkeys(
    (15, 16), ChannelKind.HALF_BRIDGE
)
Switches = list[tuple[int, int, int]]


class SearchedBox(Protocol):
    """What the search does to a box. What a box cannot do, it ignores."""

    slack: Slack

    @property
    def now_ns(self) -> int:
        """The present."""

    def restart(self) -> None:
        """Power down and up."""

    def receive(self, data: bytes) -> None:
        """Take bytes from the console."""

    def advance_to(self, time_ns: int) -> None:
        """Let time pass."""

    def take_output(self) -> bytes:
        """Return the bytes for the console so far."""

    def switches(self) -> Switches:
        """Return the changes of outputs so far: time, channel, drive."""

    def set_stop_input(self, open_: bool) -> None:
        """Press or release the stop input."""

    def set_supply(self, volts: float) -> None:
        """Change the supply."""

    def set_load(self, channel: int, ohm: float, henry: float) -> None:
        """Change what hangs on a channel."""

    def hold(self, held: bool) -> None:
        """Keep the main loop from its turns, or give them back."""

    def poll(self) -> None:
        """Give the held main loop one turn."""

    def ticks_die(self) -> None:
        """Stop the millisecond interrupt, until a reset."""

    def converter_sticks(self) -> None:
        """Stop the converter, until a reset."""

    def resets(self) -> int:
        """Return how often the watchdog has reset it."""


class PlainPlant:
    """Resistance and inductance on a stiff supply; the current vanishes at switch-off."""

    def __init__(self) -> None:
        self.ohm = dict.fromkeys(range(1, 17), 14.0)
        self.henry = dict.fromkeys(range(1, 17), 14e-3)
        self.supply_v = 13.5
        self.drives = dict.fromkeys(range(1, 17), Drive.OFF)
        self.since = dict.fromkeys(range(1, 17), 0.0)
        self.log: Switches = []

    def switch(self, channel: int, drive: Drive, time_s: float) -> None:
        """Change one driver."""
        if self.drives[channel] is drive:
            return
        if self.drives[channel] is Drive.OFF:
            self.since[channel] = time_s
        self.drives[channel] = drive
        self.log.append((round(time_s * 1e9), channel, DRIVES[drive]))

    def sample_many(self, channel: int, times_s: Any) -> Any:  # noqa: ANN401 - arrays in, arrays out
        """Return currents, drain voltages and supply voltages."""
        times = np.asarray(times_s, dtype=float)
        ohm, on = self.ohm[channel], self.drives[channel] is not Drive.OFF
        current = np.zeros(len(times))
        if on and ohm > 0:
            rise = -np.expm1(-(times - self.since[channel]) * ohm / self.henry[channel])
            current = self.supply_v / ohm * rise
        rest = 0.1 if on else self.supply_v if ohm > 0 else 2.5
        return current, np.full(len(times), rest), np.full(len(times), self.supply_v)

    def sample(self, channel: int, time_s: float) -> Any:  # noqa: ANN401 - a plain sample
        """Return one sample."""
        current, drain, supply = self.sample_many(channel, [time_s])
        return type("Sample", (), {"current_a": current[0], "drain_v": drain[0], "supply_v": supply[0]})

    def resting_drain_v(self, channel: int, time_s: float) -> float:
        """Return the drain voltage of an undriven channel."""
        return float(self.sample(channel, time_s).drain_v)


class PythonBox:
    """The simulated box. It acts on each frame at once: it has no main loop to hold and no timers to lose."""

    slack = Slack(hold_hangs=True)

    def __init__(self) -> None:
        self.restart()

    def restart(self) -> None:
        """Power down and up."""
        self.plant = PlainPlant()
        profile = replace(REFERENCE, noise_counts=0.0, offset_spread_counts=0.0, gain_u_relative=0.0)
        self.box = Controller(self.plant, profile, kinds=KINDS)
        self._machine = self.box.machine
        self._resets = 0

    @property
    def now_ns(self) -> int:
        """The present."""
        return self.box.now_ns

    def receive(self, data: bytes) -> None:
        """Take bytes from the console."""
        self.box.receive(data)

    def advance_to(self, time_ns: int) -> None:
        """Let time pass."""
        self.box.advance_to(time_ns)
        self.box.catch_up()

    def take_output(self) -> bytes:
        """Return the bytes for the console so far."""
        return self.box.take_output()

    def switches(self) -> Switches:
        """Return the changes of outputs so far."""
        taken, self.plant.log = self.plant.log, []
        return taken

    def set_stop_input(self, open_: bool) -> None:
        """Press or release the stop input."""
        self.box.catch_up()
        self.box.set_stop_input(open_)

    def set_supply(self, volts: float) -> None:
        """Change the supply."""
        self.box.catch_up()
        self.plant.supply_v = volts
        self.box.supply_changed()

    def set_load(self, channel: int, ohm: float, henry: float) -> None:
        """Change what hangs on a channel."""
        self.box.catch_up()
        self.plant.ohm[channel], self.plant.henry[channel] = ohm, henry

    def hold(self, held: bool) -> None:
        """A hung program is all that can be held: it ends in a reset."""
        if held:
            self.box.hang()

    def poll(self) -> None:
        """It takes its turns by itself."""

    def ticks_die(self) -> None:
        """It has no interrupt to lose."""

    def converter_sticks(self) -> None:
        """It has no converter to lose."""

    def resets(self) -> int:
        """Return how often the watchdog has reset it."""
        if self.box.machine is not self._machine:
            self._machine = self.box.machine
            self._resets += 1
        return self._resets


MakeBox = Callable[[], SearchedBox]
