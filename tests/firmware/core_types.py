"""Structures of the core as ctypes has them, to call its functions one by one."""

import ctypes
from ctypes import POINTER, c_char_p, c_int16, c_int32, c_uint8, c_uint16, c_uint32

from loomproof_wire import messages
from loomproof_wire.messages import Hazard, LoadClass
from testbed.class_limits import within_class


class Refusal(ctypes.Structure):
    """`struct refusal` of refusal.h."""

    _fields_ = (("reason", c_uint8), ("detail", c_uint32))

    @property
    def pair(self) -> tuple[int, int]:
        return self.reason, self.detail


class Ceilings(ctypes.Structure):
    """`struct ceilings` of limits.h."""

    _fields_ = (
        ("max_on_time_us", c_uint32),
        ("max_hold_ms", c_uint16),
        ("max_duty_permille", c_uint16),
        ("max_count", c_uint16),
        ("max_current_ma", c_uint16),
        ("max_sense_us", c_uint16),
    )


class Configure(ctypes.Structure):
    """`struct wire_configure` and `struct wire_channel_config` of wire_gen.h."""

    _fields_ = (
        ("channel", c_uint8),
        ("load_class", c_uint8),
        ("hazard", c_uint8),
        ("fuel_pump", c_uint8),
        *Ceilings._fields_,
    )


class Limit(ctypes.Structure):
    """`struct hal_limit` of hal.h."""

    _fields_ = (("wide", ctypes.c_bool), ("counts", c_uint16))


class Edge(ctypes.Structure):
    """`struct hal_edge` of hal.h."""

    _fields_ = (
        ("at_ticks", c_uint32),
        ("channel", c_uint8),
        ("drive", c_uint8),
        ("sampling", c_uint8),
        ("sampled", c_uint8),
        ("every", c_uint8),
        ("limit", Limit),
        ("again_ticks", c_uint16),
        ("times", c_uint16),
    )


class SampleSet(ctypes.Structure):
    """`struct hal_set` of hal.h."""

    _fields_ = (("fine", c_uint16), ("wide", c_uint16), ("supply", c_uint16), ("drain", c_uint16))


class Channel(ctypes.Structure):
    """`struct hal_channel` of hal.h."""

    _fields_ = (
        ("kind", c_uint8),
        ("wide_na_per_count", c_uint32),
        ("wide_offset_x100", c_int16),
        ("fine_na_per_count", c_uint32),
        ("fine_offset_x100", c_int16),
    )


class Board(ctypes.Structure):
    """`struct hal_board` of hal.h."""

    _fields_ = (
        ("board", c_char_p),
        ("serial_number", c_char_p),
        ("firmware_version", c_char_p),
        ("calibrated_on", c_char_p),
        ("build_hash", c_uint32),
        ("simulated", c_uint8),
        ("channel_count", c_uint8),
        ("adc_bits", c_uint8),
        ("sample_period_ns", c_uint32),
        ("sample_period_ticks", c_uint16),
        ("first_sample_ticks", c_uint16),
        ("first_sample_ns", c_int32),
        ("supply_skew_ns", c_int16),
        ("drain_skew_ns", c_int16),
        ("supply_min_mv", c_uint16),
        ("supply_max_mv", c_uint16),
        ("supply_uv_per_count", c_uint32),
        ("drain_uv_per_count", c_uint32),
        ("gain_uncertainty_ppm", c_uint16),
        ("noise_counts_x100", c_uint16),
        ("bias_mv", c_uint16),
        ("bias_ohm", c_uint32),
        ("clamp_mv", c_uint32),
        ("trace_buffers", c_uint8),
        ("max_trace_samples", c_uint16),
        ("trace_memory", POINTER(c_uint8)),
        ("channels", POINTER(Channel)),
    )


def typed(core: ctypes.CDLL) -> ctypes.CDLL:
    """Say what the functions of the guards take and return; returns the library itself."""
    for name in ("check_channel", "check_pulses", "check_hold", "check_step", "configure"):
        getattr(core, f"limits_{name}").restype = Refusal
    core.refusal_of_field.restype = Refusal
    core.limits_ceilings.restype = Ceilings
    core.limits_config.restype = POINTER(Configure)
    core.trip_limit_of.restype = Limit
    core.trip_current_ua.restype = core.trip_current_10na.restype = c_uint32
    core.limits_digest.restype = core.guard_uptime_ms.restype = c_uint32
    for name in ("limits_sense_cap_us", "trip_mask", "guard_supply_mv", "arming_left_ms"):
        getattr(core, name).restype = c_uint16
    for name in ("limits_hazards", "limits_kind_of", "arming_valid_mask", "arming_missing", "arming_mask"):
        getattr(core, name).restype = c_uint8
    for name in ("guard_stopped", "guard_alive", "guard_supply_good", "receive_waiting", "receive_take"):
        getattr(core, name).restype = ctypes.c_bool
    return core


CEILINGS = {
    "max_on_time_us": 100_000,
    "max_hold_ms": 10_000,
    "max_duty_permille": 900,
    "max_count": 2000,
    "max_current_ma": 20_000,
    "max_sense_us": 200,
}
"""The highest limits that any channel may have."""


def configured(
    core: ctypes.CDLL,
    channel: int = 1,
    load: LoadClass = LoadClass.VALVE,
    hazard: Hazard = Hazard.NONE,
    pump: int = 0,
    **fields: int,
) -> tuple[int, int]:
    """Give a channel a configuration at the ceilings but for `fields`; returns how it was refused."""
    plain = within_class(messages.Configure(channel, load, hazard, pump, **CEILINGS))
    limits = {name: getattr(plain, name) for name in CEILINGS} | fields
    return core.limits_configure(ctypes.byref(Configure(channel, load, hazard, pump, *limits.values()))).pair
