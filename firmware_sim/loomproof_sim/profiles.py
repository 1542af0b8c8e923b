"""Board profiles: what a box's read-back hardware can see, and how large its memory is."""

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
        supply_skew_ns: supply sample after the current sample; drain_skew_ns likewise, not earlier.
        fine_full_a: full scale of the fine current range; wide_full_a of the wide one.
        supply_full_v: full scale of the supply reading; drain_full_v of the drain readings.
        fine_offset_counts: what the fine range reads at no current; wide_offset_counts likewise.
        offset_spread_counts: standard deviation of both offsets over the channels.
        noise_counts: standard deviation of one sample.
        gain_u_relative: standard uncertainty of the current scales.
        bias_v: where an unconnected drain rests, through bias_ohm.
        clamp_v: drain voltage at which a low-side driver clamps.
        supply_min_v: below it the supply counts as lost; above supply_max_v as out of range.
        trace_slots: traces held at once.
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
