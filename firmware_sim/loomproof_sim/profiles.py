"""Board profiles: resolution, timing, ranges and memory of a box's measuring hardware."""

from dataclasses import dataclass


@dataclass(frozen=True)
class BoardProfile:
    """Hardware of one kind of box.

    Attributes:
        key: name used in scenarios and URLs.
        board: name the box reports, at most 24 bytes.
        adc_bits: resolution of the converter; counts run from 0 to 2**adc_bits - 1.
        sample_period_ns: one sample set (both current ranges, supply, drain).
        first_sample_ns: first current sample, from the switch-on edge.
        supply_skew_ns: from the current sample to the supply sample.
        drain_skew_ns: from the current sample to the drain sample; not less than supply_skew_ns.
        fine_full_a: full scale of the fine current range.
        wide_full_a: full scale of the wide current range.
        supply_full_v: full scale of the supply reading.
        drain_full_v: full scale of the drain readings.
        fine_offset_counts: reading of the fine range without current.
        wide_offset_counts: reading of the wide range without current.
        offset_spread_counts: standard deviation of both offsets over the channels.
        noise_counts: standard deviation of one sample.
        gain_u_relative: standard uncertainty of the current scales.
        bias_v: voltage at which an unconnected drain rests.
        bias_ohm: resistance behind that voltage.
        clamp_v: drain voltage at which a low-side driver clamps.
        supply_min_v: below this the supply counts as lost.
        supply_max_v: above this the supply counts as out of range.
        board_temperature_c: temperature that the box reports.
        trace_slots: traces held at once.
        channel_count: output channels.
        watchdog_ns: how long the controller may hang before the hardware resets it.
    """

    key: str
    board: str
    adc_bits: int
    sample_period_ns: int
    first_sample_ns: int
    supply_skew_ns: int
    drain_skew_ns: int
    fine_full_a: float = 2.0
    wide_full_a: float = 20.0
    supply_full_v: float = 20.0
    drain_full_v: float = 60.0
    fine_offset_counts: float = 16.0
    wide_offset_counts: float = 6.0
    offset_spread_counts: float = 1.0
    noise_counts: float = 0.5
    gain_u_relative: float = 0.002
    bias_v: float = 2.5
    bias_ohm: float = 47_000.0
    clamp_v: float = 48.0
    supply_min_v: float = 6.0
    supply_max_v: float = 18.0
    board_temperature_c: float = 31.0
    trace_slots: int = 8
    channel_count: int = 16
    watchdog_ns: int = 120_000_000

    @property
    def full_counts(self) -> int:
        """Largest count of the converter."""
        return (1 << self.adc_bits) - 1


REFERENCE = BoardProfile(
    key="reference",
    board="reference 10 bit",
    adc_bits=10,
    sample_period_ns=26_000,
    first_sample_ns=2_000,
    supply_skew_ns=13_000,
    drain_skew_ns=19_500,
)
"""10 bit, four conversions of 6.5 us in turn; both current ranges are held together."""

TWELVE_BIT = BoardProfile(
    key="twelve_bit",
    board="simultaneous 12 bit",
    adc_bits=12,
    sample_period_ns=10_000,
    first_sample_ns=1_000,
    supply_skew_ns=0,
    drain_skew_ns=0,
    fine_offset_counts=64.0,
    wide_offset_counts=24.0,
    offset_spread_counts=4.0,
    noise_counts=0.9,
    gain_u_relative=0.001,
)
"""12 bit with one converter per quantity, so that nothing is skewed."""

PROFILES: dict[str, BoardProfile] = {profile.key: profile for profile in (REFERENCE, TWELVE_BIT)}
