"""The firmware's core compiled for this computer, in virtual time, driven like the Python controller."""

import ctypes
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LIBRARY = ROOT / "build/firmware/host/libloomproof_host.so"
NS_PER_TICK = 500
MANY = 65536


class Switch(ctypes.Structure):
    """One output change."""

    _fields_ = (("at_ticks", ctypes.c_uint64), ("channel", ctypes.c_uint8), ("drive", ctypes.c_uint8))


def build() -> Path:
    """Bring the library up to date; a missing compiler is an error. LOOMPROOF_HOST_LIBRARY names another core."""
    if other := os.environ.get("LOOMPROOF_HOST_LIBRARY"):
        return Path(other)
    made = subprocess.run(
        ["make", "-s", "-C", str(ROOT / "firmware/host")], capture_output=True, text=True, check=False
    )
    if made.returncode:
        raise RuntimeError(f"the core does not build for this computer:\n{made.stdout}{made.stderr}")
    return LIBRARY


class HostBox:
    """One box; each instance is a core of its own. Times are integer nanoseconds since it was powered."""

    def __init__(self, channel_count: int = 16) -> None:
        self._folder = tempfile.TemporaryDirectory()
        copy = shutil.copy(build(), self._folder.name)
        self.core = ctypes.CDLL(copy)
        self.core.host_take.restype = ctypes.c_size_t
        self.core.host_take_switches.restype = ctypes.c_size_t
        self.core.host_now.restype = ctypes.c_uint64
        self.core.host_supply.argtypes = (ctypes.c_double,)
        self.core.host_load.argtypes = (ctypes.c_uint8, ctypes.c_double, ctypes.c_double)
        self.core.host_advance.argtypes = (ctypes.c_uint64,)
        self.core.host_receive.argtypes = (ctypes.c_char_p, ctypes.c_size_t)
        self.core.host_held_off.restype = ctypes.c_bool
        self.core.host_gates_killed.restype = self.core.host_converting.restype = ctypes.c_bool
        self.restart(channel_count)

    def restart(self, channel_count: int = 16) -> None:
        """Power down and up."""
        self.core.host_open(channel_count)

    @property
    def now_ns(self) -> int:
        """Virtual time."""
        return int(self.core.host_now()) * NS_PER_TICK

    def receive(self, data: bytes) -> None:
        """Take bytes from the console, now."""
        self.core.host_receive(data, len(data))

    def advance_to(self, time_ns: int) -> None:
        """Let time pass, to the tick."""
        self.core.host_advance(time_ns // NS_PER_TICK)

    def take_output(self) -> bytes:
        """Return the bytes for the console so far.

        Raises:
            AssertionError: the core has left the interrupts held off; a real box would never wake again.
        """
        assert not self.core.host_held_off()
        buffer = ctypes.create_string_buffer(MANY)
        count = self.core.host_take(buffer, MANY)  # before the buffer is looked at
        return buffer.raw[:count]

    def switches(self) -> list[tuple[int, int, int]]:
        """Return the output changes so far: time in ns, channel, drive (0 off, 1 on, 2 high, 3 low)."""
        buffer = (Switch * MANY)()
        count = self.core.host_take_switches(buffer, MANY)
        return [(s.at_ticks * NS_PER_TICK, s.channel, s.drive) for s in buffer[:count]]

    def set_stop_input(self, open_: bool) -> None:
        """Press (open) or release the stop input."""
        self.core.host_stop_input(open_)

    def set_supply(self, volts: float) -> None:
        """Change the supply."""
        self.core.host_supply(volts)

    def set_load(self, channel: int, ohm: float, henry: float) -> None:
        """Change what hangs on a channel; ohm < 0 is an open contact."""
        self.core.host_load(channel, ohm, henry)

    def hang(self) -> None:
        """The program stands still until the watchdog resets it."""
        self.core.host_hang()
