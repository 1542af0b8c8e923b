# SPDX-License-Identifier: GPL-3.0-or-later
"""The shim as a shared library: its place, and the types of its functions."""

import ctypes as c
import os
from pathlib import Path

PINS_CALLBACK = c.CFUNCTYPE(None, c.c_void_p, c.c_uint64, c.c_int, c.c_int)
VOLTS_CALLBACK = c.CFUNCTYPE(
    None, c.c_void_p, c.c_int, c.c_uint64, c.c_uint64, c.c_int, c.POINTER(c.c_double)
)
RESET_CALLBACK = c.CFUNCTYPE(None, c.c_void_p, c.c_uint64)

LIBRARY_ENV = "LOOMPROOF_COSIM_LIBRARY"
BUILT = Path(__file__).resolve().parents[3] / "build" / "firmware" / "libloomproof_cosim.so"


class CosimError(Exception):
    """The co-simulation cannot run; the message says why and what to do."""


class PartCounters(c.Structure):
    """Counters of the part; see `struct cosim_counters`."""

    _fields_ = [
        ("rx_overruns", c.c_uint32),
        ("tx_lost", c.c_uint32),
        ("resets", c.c_uint32),
        ("conversions", c.c_uint32),
        ("adc_unread", c.c_uint32),
        ("fetches", c.c_uint32),
        ("rx_waiting_most", c.c_uint32),
        ("halted", c.c_uint32),
    ]


class PinEdgeStruct(c.Structure):
    """A change of a port's driven pins."""

    _fields_ = [("cycle", c.c_uint64), ("held", c.c_uint64), ("port", c.c_uint8), ("levels", c.c_uint8)]


_SIGNATURES: dict[str, tuple[object, list[object]]] = {
    "lp_open": (
        c.c_void_p,
        [
            c.c_char_p,
            c.c_char_p,
            c.c_uint32,
            c.c_uint32,
            c.c_void_p,
            PINS_CALLBACK,
            VOLTS_CALLBACK,
            RESET_CALLBACK,
        ],
    ),
    "lp_close": (None, [c.c_void_p]),
    "lp_run_to": (c.c_uint64, [c.c_void_p, c.c_uint64]),
    "lp_cycle": (c.c_uint64, [c.c_void_p]),
    "lp_send": (c.c_int, [c.c_void_p, c.c_char_p, c.c_int]),
    "lp_take": (c.c_int, [c.c_void_p, c.c_char_p, c.c_int]),
    "lp_last_rx_cycle": (c.c_uint64, [c.c_void_p]),
    "lp_last_tx_cycle": (c.c_uint64, [c.c_void_p]),
    "lp_last_hold_cycle": (c.c_uint64, [c.c_void_p]),
    "lp_set_input": (None, [c.c_void_p, c.c_int, c.c_int, c.c_int]),
    "lp_forget": (None, [c.c_void_p]),
    "lp_noise": (None, [c.c_void_p, c.c_double, c.c_uint64]),
    "lp_counters": (None, [c.c_void_p, c.POINTER(PartCounters)]),
    "lp_edge_count": (c.c_uint64, [c.c_void_p]),
    "lp_edges": (c.c_int, [c.c_void_p, c.c_uint64, c.c_int, c.POINTER(PinEdgeStruct)]),
    "lp_jump": (None, [c.c_void_p, c.c_uint32]),
    "lp_peek": (c.c_uint8, [c.c_void_p, c.c_uint32]),
    "lp_poke": (None, [c.c_void_p, c.c_uint32, c.c_uint8]),
    "lp_stack_reach": (c.c_uint32, [c.c_void_p, c.c_uint32, c.c_uint8]),
    "lp_paint": (None, [c.c_void_p, c.c_uint32, c.c_uint32, c.c_uint8]),
    "lp_eeprom": (c.c_int, [c.c_void_p, c.c_uint32, c.c_char_p, c.c_uint32]),
}


def load() -> c.CDLL:
    """Return the shim.

    Raises:
        CosimError: the shim is not built.
    """
    path = Path(os.environ.get(LIBRARY_ENV, BUILT))
    try:
        library = c.CDLL(str(path))
    except OSError as error:
        raise CosimError(
            f"the co-simulation shim cannot be loaded ({error}); build it with `make firmware`"
        ) from error
    for name, (result, arguments) in _SIGNATURES.items():
        function = getattr(library, name)
        function.restype, function.argtypes = result, arguments
    return library
