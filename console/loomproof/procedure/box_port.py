"""The box as the procedure sees it: what `loomproof.box.client.Box` offers, as a protocol for fakes and tests."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from typing import Protocol

from loomproof.box.drive_outcome import DriveOutcome, RawTrace
from loomproof.box.errors import LinkDown
from loomproof.facts.approved_drive import ApprovedDrive
from loomproof.facts.drive import DriveRequest, HoldRequest
from loomproof_wire import messages


class BoxPort(Protocol):
    """One connected box. Calls that drive return when the drive has ended and its traces are read.

    Errors are those of `loomproof.box`: `RequestRefused`, `NoReply`, `LinkLost`, `BoxStopped`.
    """

    @property
    def identity(self) -> messages.Identity:
        """Who the box is."""
        ...

    @property
    def channels(self) -> Mapping[int, messages.ChannelInfo]:
        """Its channels."""
        ...

    def configure(self, configuration: messages.Configure) -> object:
        """Say what hangs on a channel."""
        ...

    def verify_configuration(self) -> object:
        """Compare the box's digest with what was sent; raises when they differ."""
        ...

    def arm(self, hazard: messages.Hazard, duration_s: float) -> object:
        """Arm one hazard class for a bounded time."""
        ...

    def disarm(self, hazard: messages.Hazard) -> object:
        """Disarm it."""
        ...

    def clear_stop(self) -> object:
        """Leave the latched stop."""
        ...

    def status(self) -> messages.Status:
        """State of the box, asked for now."""
        ...

    def drive(
        self, approved: ApprovedDrive[DriveRequest], on_trace: Callable[[RawTrace], object] | None = None
    ) -> DriveOutcome:
        """Drive what was approved; each trace goes to `on_trace` as soon as it is read."""
        ...

    def sense(self, channel: int, on_time_us: int, samples: int) -> RawTrace:
        """One sense pulse."""
        ...

    def scan(self, channels: Sequence[int], on_time_us: int) -> messages.ScanResult:
        """Resting voltages, and a sense pulse on each where allowed."""
        ...

    def watch(
        self, channel: int, *, duration_ms: int, sample_hz: int = 5000, depth_permille: int = 200
    ) -> AbstractContextManager[Iterable[messages.Dropout]]:
        """Watch a resting channel for dropouts; nothing is driven.

        Args:
            channel: the channel.
            duration_ms: for how long.
            sample_hz: samples a second.
            depth_permille: share of the level that must be missing to count as a dropout.
        """
        ...

    def watch_held(
        self, approved: ApprovedDrive[HoldRequest], *, sample_hz: int = 5000, depth_permille: int = 200
    ) -> AbstractContextManager[Iterable[messages.Dropout]]:
        """Hold a channel on, as approved, and watch it for dropouts."""
        ...

    def subscribe(self, callback: Callable[[messages.Event | LinkDown], None]) -> object:
        """Be told of unsolicited messages, from any thread."""
        ...

    def now_s(self) -> float:
        """The box client's clock."""
        ...

    def sleep(self, seconds: float) -> None:
        """Wait on that clock."""
        ...

    def call_in(self) -> None:
        """Say that somebody is alive."""
        ...

    def stop_now(self) -> None:
        """Send a stop at once, from any thread."""
        ...
