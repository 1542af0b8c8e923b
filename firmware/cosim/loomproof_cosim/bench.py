# SPDX-License-Identifier: GPL-3.0-or-later
"""What stands between the pins and the loom: gate drivers, current amplifiers, dividers, multiplexers."""

import numpy as np
from numpy.typing import NDArray

from loomproof_cosim.boards import DRAIN, FINE, SUPPLY, TEMPERATURE, WIDE, Board
from loomproof_cosim.part import CLOCK_HZ, Floats
from loomproof_sim.controller.ports import PlantPort
from loomproof_sim.plant.spec import Drive
from loomproof_sim.profiles import BoardProfile
from loomproof_wire.messages import ChannelKind

REFERENCE_V = 5.0
COUNTS = 1024
TEMPERATURE_V_PER_K = 0.01
TEMPERATURE_ZERO_V = 0.5
"""A sensor of 10 mV/K with 0.5 V at 0 degC (common practice, no source)."""


class Bench:
    """The board around the part, in volts and amperes.

    Args:
        plant: the loom.
        board: the wiring.
        profile: scales and noise of the analogue inputs.
        kinds: driver of each channel; those not named are low-side.
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
        draws = np.random.default_rng((seed, 1))
        self._noise = np.random.default_rng((seed, 2))
        u = profile.gain_u_relative
        self._gains = 1 + u * draws.standard_normal((board.channel_count, 2))

    # -- pins to loom --

    def _level(self, pin: tuple[str, int]) -> bool:
        return bool(self._levels.get(pin[0], 0) >> pin[1] & 1)

    def pins(self, cycle: int, port: str, levels: int) -> None:
        """The part changed the driven pins of a port."""
        self._levels[port] = levels
        self._follow(cycle)

    def set_stop(self, cycle: int, *, open_: bool) -> None:
        """The stop contact: open, it takes the supply from every gate driver, whatever the part does."""
        self.stop_open = open_
        self._follow(cycle)

    def _follow(self, cycle: int) -> None:
        for channel, before in self._drives.items():
            drive = self._drive(channel)
            if drive is not before:
                self._drives[channel] = drive
                self.plant.switch(channel, drive, cycle / CLOCK_HZ)

    def _drive(self, channel: int) -> Drive:
        if self.stop_open:
            return Drive.OFF
        gate = self._level(self.board.gates[channel - 1])
        if self._kinds.get(channel) is not ChannelKind.HALF_BRIDGE:
            return Drive.ON if gate else Drive.OFF
        if self.board.uppers and self._level(self.board.uppers[channel - 1]):
            return Drive.HIGH
        return Drive.LOW if gate else Drive.OFF

    def drive(self, channel: int) -> Drive:
        """What a channel's driver does."""
        return self._drives[channel]

    @property
    def address(self) -> int:
        """Channel that the analogue multiplexers let through."""
        bits = sum(self._level(pin) << index for index, pin in enumerate(self.board.address))
        return 1 + bits

    # -- loom to converter --

    def volts(self, number: int, cycles: NDArray[np.int64]) -> Floats:
        """Volts at a converter input at some instants."""
        if number == TEMPERATURE:
            volts = TEMPERATURE_ZERO_V + TEMPERATURE_V_PER_K * self.profile.board_temperature_c
            return np.full(len(cycles), volts)
        current_a, drain_v, supply_v = self.plant.sample_many(self.address, cycles / CLOCK_HZ)
        counts = self._ideal_counts(number, current_a, drain_v, supply_v)
        noisy = counts + self.profile.noise_counts * self._noise.standard_normal(len(cycles))
        return np.clip(noisy * REFERENCE_V / COUNTS, 0.0, REFERENCE_V)

    def _ideal_counts(self, number: int, current_a: Floats, drain_v: Floats, supply_v: Floats) -> Floats:
        profile, full = self.profile, self.profile.full_counts
        if number == FINE:
            span = full - profile.fine_offset_counts
            gain = float(self._gains[self.address - 1, 0])
            return profile.fine_offset_counts + np.abs(current_a) * (gain * span / profile.fine_full_a)
        if number == WIDE:
            span = full - profile.wide_offset_counts
            gain = float(self._gains[self.address - 1, 1])
            return profile.wide_offset_counts + np.abs(current_a) * (gain * span / profile.wide_full_a)
        if number == DRAIN:
            return drain_v * full / profile.drain_full_v
        if number == SUPPLY:
            return supply_v * full / profile.supply_full_v
        return np.zeros(len(current_a))
