"""The box's identity and its channels' ceilings and calibration."""

import zlib
from functools import cache
from pathlib import Path

from loomproof_sim.controller.limits import ceilings_of
from loomproof_sim.profiles import BoardProfile
from loomproof_sim.readback import Readback
from loomproof_wire.messages import (
    CEILINGS,
    PROTOCOL_MAJOR,
    PROTOCOL_MINOR,
    SPEC_HASH,
    ChannelInfo,
    ChannelKind,
    Identity,
)

FIRMWARE_VERSION = "0.1.0"


@cache
def build_hash() -> int:
    """Return the CRC-32 over the sources of the controller, so that each build has its own number."""
    sources = sorted(Path(__file__).parent.glob("*.py"))
    return zlib.crc32(b"".join(path.read_bytes() for path in sources))


def identity(profile: BoardProfile, serial_number: str) -> Identity:
    """Return the reply to a hello."""
    return Identity(
        protocol_major=PROTOCOL_MAJOR,
        protocol_minor=PROTOCOL_MINOR,
        spec_hash=SPEC_HASH,
        firmware_version=FIRMWARE_VERSION,
        build_hash=build_hash(),
        board=profile.board,
        serial_number=serial_number,
        simulated=1,
        channel_count=profile.channel_count,
        adc_bits=profile.adc_bits,
        sample_period_ns=profile.sample_period_ns,
        max_trace_samples=CEILINGS.max_trace_samples,
        calibrated_on="2026-01-01",
    )


def channel_info(channel: int, kind: ChannelKind, profile: BoardProfile, readback: Readback) -> ChannelInfo:
    """Return the driver kind, the ceilings and the calibration of a channel.

    Args:
        channel: number of the channel.
        kind: its driver.
        profile: the board.
        readback: holds the channel's calibration.
    """
    ceilings, scale = ceilings_of(kind), readback.scale(channel)
    return ChannelInfo(
        channel=channel,
        channel_kind=kind,
        max_on_time_us=ceilings.max_on_time_us,
        max_hold_ms=ceilings.max_hold_ms,
        max_duty_permille=ceilings.max_duty_permille,
        max_count=ceilings.max_count,
        max_current_ma=ceilings.max_current_ma,
        max_sense_us=ceilings.max_sense_us,
        wide_na_per_count=scale.wide_na_per_count,
        wide_offset_counts_x100=scale.wide_offset_x100,
        fine_na_per_count=scale.fine_na_per_count,
        fine_offset_counts_x100=scale.fine_offset_x100,
        supply_uv_per_count=readback.supply_uv_per_count,
        drain_uv_per_count=readback.drain_uv_per_count,
        gain_uncertainty_ppm=round(profile.gain_u_relative * 1e6),
        noise_counts_x100=round(profile.noise_counts * 100),
        bias_mv=round(profile.bias_v * 1000),
        bias_ohm=round(profile.bias_ohm),
        clamp_mv=round(profile.clamp_v * 1000),
    )
