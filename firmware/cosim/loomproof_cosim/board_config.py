# SPDX-License-Identifier: GPL-3.0-or-later
"""The EEPROM of one box, as bringing it up would write it; laid out as in `firmware/avr/board_config.h`."""

import struct

from loomproof_sim.profiles import BoardProfile
from loomproof_wire.messages import ChannelKind

MAGIC = 0x504C
LAYOUT = "<HB17s11s16BhhII"


def crc16(data: bytes) -> int:
    """CRC-16 with the reflected polynomial 0xA001 from 0xFFFF (CRC-16/MODBUS), avr-libc's _crc16_update."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc


def eeprom_image(kinds: dict[int, ChannelKind], serial_number: str, profile: BoardProfile) -> bytes:
    """Return the bytes from address 0 on.

    Args:
        kinds: driver of each channel; those not named are low-side.
        serial_number: at most 16 bytes.
        profile: whose nominal scales and offsets the calibration finds.
    """
    full = profile.full_counts
    fine_na = round(profile.fine_full_a / (full - profile.fine_offset_counts) * 1e9)
    wide_na = round(profile.wide_full_a / (full - profile.wide_offset_counts) * 1e9)
    body = struct.pack(
        LAYOUT,
        MAGIC,
        1,
        serial_number.encode()[:16],
        b"2026-01-01",
        *(int(kinds.get(channel, ChannelKind.LOW_SIDE)) for channel in range(1, 17)),
        round(profile.fine_offset_counts * 100),
        round(profile.wide_offset_counts * 100),
        fine_na,
        wide_na,
    )
    return body + crc16(body).to_bytes(2, "little")
