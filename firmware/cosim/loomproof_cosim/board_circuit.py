# SPDX-License-Identifier: GPL-3.0-or-later
"""The circuit between the pins and the loom: gate drivers, current amplifiers, dividers, multiplexers."""

import numpy as np
from numpy.typing import NDArray

from loomproof_cosim.boards import DRAINS_PER_INPUT, FINE, FIRST_DRAIN, SUPPLY, TEMPERATURE, WIDE, Board
from loomproof_cosim.part import CLOCK_HZ, Floats
from loomproof_sim.controller.ports import PlantPort
from loomproof_sim.plant.spec import Drive
from loomproof_sim.profiles import BoardProfile
from loomproof_wire.messages import ChannelKind

REFERENCE_V = 5.0
AMPLIFIER_TOP_V = 4.9
"""Rail to rail, but not quite: the least that the bill of parts asks of the amplifiers."""
COUNTS = 1024
KEPT = 8
"""The number of samples of the loom that are kept for the next input."""
TEMPERATURE_V_PER_K = 0.01
TEMPERATURE_ZERO_V = 0.5
"""A sensor of 10 mV/K with 0.5 V at 0 degC (common practice, no source)."""


class BoardCircuit:
    """The board around the part, in volts and amperes.

    Args:
        plant: the loom.
        board: the wiring of the pins.
        profile: scales and noise of the analogue inputs.
        kinds: driver of each channel; channels not named are low-side.
        seed: draws gain errors and noise.
    """

    def __init__(
        self,
        plant: PlantPort,
        board: Board,
        profile: BoardProfile,
        kinds: dict[int, ChannelKind],
        seed: int,
    ) -> None:
        self.plant = plant
        self.board = board
        self.profile = profile
        self._kinds = kinds
        self._levels: dict[str, int] = {}
        self._drives = dict.fromkeys(range(1, board.channel_count + 1), Drive.OFF)
        self.stop_open = False
        self.seed = seed
        draws = np.random.default_rng((seed, 1))
        u = profile.gain_u_relative
        self._fine_gain, self._wide_gain = (float(1 + u * draw) for draw in draws.standard_normal(2))
        self._last_conducting: tuple[int, ...] = ()
        self._last_drain = 1
        self._asked: dict[tuple[int, float, float, int], tuple[Floats, Floats, Floats]] = {}

    # -- pins to loom --

    def _level(self, pin: tuple[str, int]) -> bool:
        return bool(self._levels.get(pin[0], 0) >> pin[1] & 1)

    def pins(self, cycle: int, port: str, levels: int) -> None:
        """Take a change of the driven pins of a port."""
        self._levels[port] = levels
        self._follow(cycle)

    def set_stop(self, cycle: int, *, open_: bool) -> None:
        """Open or close the stop contact; open, it cuts the supply of every gate driver, whatever the part does."""
        self.stop_open = open_
        self._follow(cycle)

    def _follow(self, cycle: int) -> None:
        for channel, before in self._drives.items():
            drive = self._drive(channel)
            if drive is not before:
                self._drives[channel] = drive
                self.forget()
                self.plant.switch(channel, drive, cycle / CLOCK_HZ)

    def forget(self) -> None:
        """Drop the kept samples, because something changes."""
        self._asked.clear()

    def _drive(self, channel: int) -> Drive:
        if self.stop_open or not self._level(self.board.enable):
            return Drive.OFF
        gate = self._level(self.board.gates[channel - 1])
        if self._kinds.get(channel) is not ChannelKind.HALF_BRIDGE:
            return Drive.ON if gate else Drive.OFF
        if self.board.uppers and self._level(self.board.uppers[channel - 1]):
            return Drive.HIGH
        return Drive.LOW if gate else Drive.OFF

    def drive(self, channel: int) -> Drive:
        """Return what a channel's driver does."""
        return self._drives[channel]

    def _drain_channel(self, number: int) -> int:
        """Return the channel whose drain the multiplexers lead to a converter input."""
        bits = sum(self._level(pin) << index for index, pin in enumerate(self.board.address))
        return 1 + (number - FIRST_DRAIN) * DRAINS_PER_INPUT + bits

    # -- loom to converter --

    def volts(self, number: int, cycles: NDArray[np.int64]) -> Floats:
        """Return the volts at a converter input at some cycles, without the converter's noise."""
        counts = self._ideal_counts(number, cycles / CLOCK_HZ)
        top_v = AMPLIFIER_TOP_V if number in (FINE, WIDE) else REFERENCE_V
        return np.clip(counts * REFERENCE_V / COUNTS, 0.0, top_v)

    def _ideal_counts(self, number: int, times_s: Floats) -> Floats:
        profile, full = self.profile, self.profile.full_counts
        if number == FINE:
            span = full - profile.fine_offset_counts
            return profile.fine_offset_counts + self._shunt_a(times_s) * (
                self._fine_gain * span / profile.fine_full_a
            )
        if number == WIDE:
            span = full - profile.wide_offset_counts
            return profile.wide_offset_counts + self._shunt_a(times_s) * (
                self._wide_gain * span / profile.wide_full_a
            )
        if number == SUPPLY:
            return self._pins(self._last_drain, times_s)[2] * (full / profile.supply_full_v)
        if number == TEMPERATURE:
            volts = TEMPERATURE_ZERO_V + TEMPERATURE_V_PER_K * profile.board_temperature_c
            return np.full(len(times_s), volts / REFERENCE_V * COUNTS)
        channel = self._drain_channel(number)
        if not 1 <= channel <= self.board.channel_count:
            return np.zeros(len(times_s))
        self._last_drain = channel
        return self._pins(channel, times_s)[1] * (full / profile.drain_full_v)

    def _shunt_a(self, times_s: Floats) -> Floats:
        """Return the current in the common source line: of the channels that conduct to ground, and through clamps.

        The current of a bridge that circulates through both lower legs bypasses it.
        """
        total = np.zeros(len(times_s))
        for channel in self._followed():
            if self._drives[channel] is not Drive.HIGH:
                total += self._pins(channel, times_s)[0]
        return total

    def _pins(self, channel: int, times_s: Floats) -> tuple[Floats, Floats, Floats]:
        """Return current, drain and supply of a channel; the converter's inputs ask for the same instants."""
        key = channel, float(times_s[0]), float(times_s[-1]), len(times_s)
        if key not in self._asked:
            if len(self._asked) >= KEPT:
                self._asked.clear()
            self._asked[key] = self.plant.sample_many(channel, times_s)
        return self._asked[key]

    def _followed(self) -> tuple[int, ...]:
        """Return the channels that conduct, or conducted last; the others carry only their bias."""
        conducting = tuple(one for one, drive in self._drives.items() if drive is not Drive.OFF)
        if conducting:
            self._last_conducting = conducting
        return self._last_conducting
