"""The firmware's core, compiled for this computer, as the search plays with it."""

import ctypes
import shutil
import tempfile
from pathlib import Path

from testbed.interleave.boxes import Switches
from testbed.interleave.watcher import Slack

NS_PER_TICK = 500
OUTPUT_BYTES = 65536
MOST_SWITCHES = 65536


class _Switch(ctypes.Structure):
    _fields_ = (("at_ticks", ctypes.c_uint64), ("channel", ctypes.c_uint8), ("drive", ctypes.c_uint8))


class CoreBox:
    """One core; each instance has a copy of its own.

    Args:
        library: the core, as firmware/host makes it.
    """

    slack = Slack()

    def __init__(self, library: Path) -> None:
        self._folder = tempfile.TemporaryDirectory()
        self._core = ctypes.CDLL(shutil.copy(library, self._folder.name))
        self._core.host_take.restype = self._core.host_take_switches.restype = ctypes.c_size_t
        self._core.host_now.restype = ctypes.c_uint64
        self._core.host_resets.restype = ctypes.c_uint32
        self._core.host_supply.argtypes = (ctypes.c_double,)
        self._core.host_load.argtypes = (ctypes.c_uint8, ctypes.c_double, ctypes.c_double)
        self._core.host_advance.argtypes = (ctypes.c_uint64,)
        self._core.host_receive.argtypes = (ctypes.c_char_p, ctypes.c_size_t)
        self._core.host_hold.argtypes = (ctypes.c_bool,)
        self._output = ctypes.create_string_buffer(OUTPUT_BYTES)
        self._switches = (_Switch * MOST_SWITCHES)()
        self.restart()

    def restart(self) -> None:
        """Power down and up."""
        self._core.host_open(16)

    @property
    def now_ns(self) -> int:
        """The present."""
        return int(self._core.host_now()) * NS_PER_TICK

    def receive(self, data: bytes) -> None:
        """Take bytes from the console."""
        self._core.host_receive(data, len(data))

    def advance_to(self, time_ns: int) -> None:
        """Let time pass."""
        self._core.host_advance(time_ns // NS_PER_TICK)

    def take_output(self) -> bytes:
        """Return the bytes for the console so far."""
        count = self._core.host_take(self._output, OUTPUT_BYTES)
        return ctypes.string_at(self._output, count)

    def switches(self) -> Switches:
        """Return the changes of outputs so far."""
        count = self._core.host_take_switches(self._switches, MOST_SWITCHES)
        return [(s.at_ticks * NS_PER_TICK, s.channel, s.drive) for s in self._switches[:count]]

    def set_stop_input(self, open_: bool) -> None:
        """Press or release the stop input."""
        self._core.host_stop_input(open_)

    def set_supply(self, volts: float) -> None:
        """Change the supply."""
        self._core.host_supply(volts)

    def set_load(self, channel: int, ohm: float, henry: float) -> None:
        """Change what hangs on a channel."""
        self._core.host_load(channel, ohm, henry)

    def hold(self, held: bool) -> None:
        """Keep the main loop from its turns, or give them back."""
        self._core.host_hold(held)

    def poll(self) -> None:
        """Give the held main loop one turn."""
        self._core.host_poll()

    def ticks_die(self) -> None:
        """Stop the millisecond interrupt, until a reset."""
        self._core.host_ticks_die()

    def converter_sticks(self) -> None:
        """Stop the converter, until a reset."""
        self._core.host_converter_sticks()

    def resets(self) -> int:
        """Return how often the watchdog has reset it."""
        return int(self._core.host_resets())
