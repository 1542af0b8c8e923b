"""A simulated box: controller, loom and clock, safe to use from several threads."""

import threading
import time

from loomproof_sim.clocks import Clock, RealClock, VirtualClock
from loomproof_sim.controller.controller import Controller
from loomproof_sim.controller.ports import NEVER_NS
from loomproof_sim.hands.local import SimHands
from loomproof_sim.plant.plant import Plant

LONGEST_WAIT_S = 0.05
"""Longest sleep of a reader in real time, so that it notices a write from another thread in time."""

HELD_UP_NS = 100_000_000
"""The most time that passes between two accesses while a reader waits: a busy machine delays a box in the
console's own process together with the console, and the box must not take that delay for lost heartbeats."""


class CableOutError(OSError):
    """The box's plug is pulled."""


class SimBox:
    """A box with its loom. Every access first lets time pass up to the present.

    Args:
        controller: the firmware, with its plant behind it.
        clock: virtual or real.
    """

    def __init__(self, controller: Controller, clock: Clock | None = None) -> None:
        self.controller = controller
        self.clock: Clock = clock or RealClock()
        self._lock = threading.RLock()
        self._changed = threading.Condition(self._lock)
        self._out = bytearray()
        self._cable_out = False
        self._cancelled = False
        self._read_from = False
        self._entered_ns = 0
        self.hands: SimHands
        self.plant: Plant

    @property
    def virtual(self) -> bool:
        """Whether time passes only in `read` and `run_for`, not by itself."""
        return self.clock.virtual

    def now_s(self) -> float:
        """Return the seconds since the box was powered."""
        return self.clock.now_ns() / 1e9

    def __enter__(self) -> Controller:
        """Hold the box still at the present."""
        self._lock.acquire()
        self._pump()
        self._entered_ns = self.clock.now_ns()
        return self.controller

    def __exit__(self, *_: object) -> None:
        self._stand_still_since(self._entered_ns)
        self._pump()
        self._changed.notify_all()
        self._lock.release()

    def _pump(self) -> None:
        """Run everything that is due and collect the output; a pulled cable loses it."""
        if self._read_from:
            longest_ns = self.controller.now_ns + HELD_UP_NS
            if self.clock.now_ns() > longest_ns:
                self._stand_still_since(longest_ns)
        now_ns = self.clock.now_ns()
        self.controller.advance_to(max(self.controller.now_ns, now_ns))
        self._stand_still_since(now_ns)
        output = self.controller.take_output()
        if not self._cable_out:
            self._out += output

    def _stand_still_since(self, time_ns: int) -> None:
        if isinstance(self.clock, RealClock):
            self.clock.stand_still_since(time_ns)

    # -- the cable --------------------------------------------------------------------------------

    def write(self, data: bytes) -> None:
        """Send bytes to the box.

        Raises:
            CableOutError: the plug is pulled.
        """
        with self as controller:
            self._check_cable()
            controller.receive(data)

    def read(self, size: int, timeout_s: float | None) -> bytes:
        """Return up to `size` bytes from the box as soon as there is one.

        Args:
            size: most bytes to return.
            timeout_s: longest wait; 0 returns only what is there, None waits for ever. In virtual time the box's
                clock advances instead; a wait for ever returns nothing when nothing is due at all.

        Raises:
            CableOutError: the plug is pulled.
        """
        with self._lock:
            self._pump()
            self._read_from = True
            self._cancelled = False
            deadline_ns = NEVER_NS if timeout_s is None else self.clock.now_ns() + round(timeout_s * 1e9)
            while not self._out and not self._cancelled:
                self._check_cable()
                if not self._let_pass(deadline_ns):
                    break
            self._check_cable()
            data = bytes(self._out[:size])
            del self._out[:size]
            return data

    def _let_pass(self, deadline_ns: int) -> bool:
        """Wait for the next event; return False when the deadline comes first."""
        now_ns = self.clock.now_ns()
        due_ns = min(self.controller.next_event_ns(), deadline_ns)
        if isinstance(self.clock, VirtualClock):
            if due_ns == NEVER_NS:
                return False
            self.clock.set_ns(due_ns)
            self._pump()
            return due_ns < deadline_ns or bool(self._out)
        if now_ns >= deadline_ns:
            return False
        self._changed.wait(min(LONGEST_WAIT_S, max(0.0, (due_ns - now_ns) / 1e9)))
        self._pump()
        return True

    def waiting(self) -> int:
        """Return the number of bytes that can be read at once."""
        with self._lock:
            self._pump()
            self._check_cable()
            return len(self._out)

    def cancel_read(self) -> None:
        """Make a waiting `read` return at once."""
        with self._lock:
            self._read_from = False
            self._cancelled = True
            self._changed.notify_all()

    def discard(self) -> None:
        """Drop the bytes that nobody has read."""
        with self._lock:
            self._pump()
            self._out.clear()

    def set_cable(self, *, out: bool) -> None:
        """Pull or reinsert the plug. Output meanwhile is lost; the box stays powered."""
        with self._lock:
            self._pump()
            self._cable_out = out
            self._out.clear()
            self._changed.notify_all()

    def _check_cable(self) -> None:
        if self._cable_out:
            raise CableOutError("the box does not answer: its USB plug is pulled")

    # -- time -------------------------------------------------------------------------------------

    def run_for(self, seconds: float) -> None:
        """Let time pass: at once in virtual time, by sleeping in real time."""
        if isinstance(self.clock, VirtualClock):
            with self._lock:
                self.clock.set_ns(self.clock.now_ns() + round(seconds * 1e9))
                self._pump()
        else:
            time.sleep(seconds)
            with self._lock:
                self._pump()
