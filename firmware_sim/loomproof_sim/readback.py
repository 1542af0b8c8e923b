"""From what a pin does to what the converter counts: two current ranges, supply, drain, and their errors."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loomproof_sim.profiles import BoardProfile

Counts = NDArray[np.uint16]
Floats = NDArray[np.float64]

FINE, WIDE, SUPPLY, DRAIN = range(4)
"""Columns of a sample set."""
USABLE_PERCENT = 97
"""The share of its full scale up to which a current range is believed."""


@dataclass(frozen=True)
class ChannelScale:
    """One channel's calibration as the box reports it, and how far the hardware is off from it.

    Attributes:
        fine_na_per_count: reported scale of the fine range; the offset is in hundredths of a count.
        fine_gain_error: true scale = reported * (1 + error); drawn with the reported standard uncertainty.
        fine_offset_counts: the true offset (the reported one is rounded to hundredths).
    """

    fine_na_per_count: int
    fine_offset_x100: int
    wide_na_per_count: int
    wide_offset_x100: int
    fine_gain_error: float
    wide_gain_error: float
    fine_offset_counts: float
    wide_offset_counts: float


class Readback:
    """The analogue inputs of one box. Supply and drain scales are exact; no uncertainty is reported.

    Args:
        profile: the board.
        seed: draws the errors of each channel and the noise; the same seed gives the same counts.
    """

    def __init__(self, profile: BoardProfile, seed: int) -> None:
        self.profile = profile
        draws = np.random.default_rng((seed, 1))
        self.noise = np.random.default_rng((seed, 2))
        full = profile.full_counts
        self.supply_uv_per_count = round(profile.supply_full_v / full * 1e6)
        self.drain_uv_per_count = round(profile.drain_full_v / full * 1e6)
        self._scales = [self._draw(draws) for _ in range(profile.channel_count)]

    def _draw(self, draws: np.random.Generator) -> ChannelScale:
        profile = self.profile
        u = profile.gain_u_relative
        fine_offset = profile.fine_offset_counts + profile.offset_spread_counts * float(
            draws.standard_normal()
        )
        wide_offset = profile.wide_offset_counts + profile.offset_spread_counts * float(
            draws.standard_normal()
        )
        span = profile.full_counts
        return ChannelScale(
            fine_na_per_count=round(profile.fine_full_a / (span - profile.fine_offset_counts) * 1e9),
            fine_offset_x100=round(fine_offset * 100),
            wide_na_per_count=round(profile.wide_full_a / (span - profile.wide_offset_counts) * 1e9),
            wide_offset_x100=round(wide_offset * 100),
            fine_gain_error=u * float(draws.standard_normal()),
            wide_gain_error=u * float(draws.standard_normal()),
            fine_offset_counts=fine_offset,
            wide_offset_counts=wide_offset,
        )

    def scale(self, channel: int) -> ChannelScale:
        """Return the calibration of a channel (numbered from 1)."""
        return self._scales[channel - 1]

    def counts(self, channel: int, current_a: Floats, supply_v: Floats, drain_v: Floats) -> Counts:
        """Return what the converter says, shape (n, 4): fine, wide, supply, drain; clamped at both ends.

        Args:
            channel: whose amplifiers.
            current_a: currents into the driver, shape (n,), A.
            supply_v: supply voltages, V.
            drain_v: drain voltages, V.
        """
        scale = self.scale(channel)
        ideal = np.empty((len(current_a), 4))
        fine_a = scale.fine_na_per_count * 1e-9 * (1 + scale.fine_gain_error)
        wide_a = scale.wide_na_per_count * 1e-9 * (1 + scale.wide_gain_error)
        ideal[:, FINE] = current_a / fine_a + scale.fine_offset_counts
        ideal[:, WIDE] = current_a / wide_a + scale.wide_offset_counts
        ideal[:, SUPPLY] = supply_v / (self.supply_uv_per_count * 1e-6)
        ideal[:, DRAIN] = drain_v / (self.drain_uv_per_count * 1e-6)
        noisy = ideal + self.profile.noise_counts * self.noise.standard_normal(ideal.shape)
        return np.clip(np.rint(noisy), 0, self.profile.full_counts).astype(np.uint16)

    def highest_limit_a(self, channel: int) -> float:
        """Return the current that is always over, since an amplifier may top out short of its rail."""
        scale = self.scale(channel)
        counts = self.profile.full_counts * USABLE_PERCENT // 100 + 0.5 - scale.wide_offset_x100 / 100
        return counts * scale.wide_na_per_count * 1e-9

    def current_a(self, channel: int, counts: Counts) -> Floats:
        """Return what the box reads from counts of shape (n, 4): fine unless near its end, else wide."""
        scale = self.scale(channel)
        fine = (counts[:, FINE] - scale.fine_offset_x100 / 100) * (scale.fine_na_per_count * 1e-9)
        wide = (counts[:, WIDE] - scale.wide_offset_x100 / 100) * (scale.wide_na_per_count * 1e-9)
        return np.where(counts[:, FINE] < USABLE_PERCENT / 100 * self.profile.full_counts, fine, wide)
