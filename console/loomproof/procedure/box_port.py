"""The box as the procedure sees it: what `loomproof.box.client.Box` offers, as a protocol for fakes and tests."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from typing import Any, Protocol

from loomproof.box.errors import LinkDown
from loomproof.procedure.conversion import CountsOfTrace
from loomproof_wire import messages


class DriveResult(Protocol):
    """What came of one drive."""

    @property
    def pulses(self) -> int:
        """Pulses delivered in full."""
        ...

    @property
    def reason(self) -> messages.EndReason:
        """Why it ended."""
        ...

    @property
    def traces(self) -> Sequence[CountsOfTrace]:
        """The traces captured."""
        ...


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

    def drive_train(  # noqa: PLR0917 - the order of the wire
        self,
        channel: int,
        count: int,
        period_us: int,
        on_time_us: int,
        trace_every: int = 0,
        trace_decimation: int = 1,
        trace_samples: int = 0,
    ) -> DriveResult:
        """Drive a pulse train."""
        ...

    def drive_hold(
        self, channel: int, duration_ms: int, trace_decimation: int = 1, trace_samples: int = 0
    ) -> DriveResult:
        """Hold a channel on."""
        ...

    def drive_peak_hold(  # noqa: PLR0917 - the order of the wire
        self,
        channel: int,
        count: int,
        period_us: int,
        on_time_us: int,
        peak_us: int,
        chop_period_us: int,
        chop_duty_permille: int,
        trace_every: int = 0,
        trace_decimation: int = 1,
        trace_samples: int = 0,
    ) -> DriveResult:
        """Drive a peak-and-hold train."""
        ...

    def drive_stepper(self, channels: tuple[int, int, int, int], steps: int, step_us: int) -> DriveResult:
        """Step four windings, one at a time."""
        ...

    def drive_bridge(  # noqa: PLR0917 - the order of the wire
        self,
        channel_supply: int,
        channel_ground: int,
        duration_ms: int,
        chop_period_us: int,
        duty_permille: int,
        trace_decimation: int = 1,
        trace_samples: int = 0,
    ) -> DriveResult:
        """Drive a half-bridge pair."""
        ...

    def hear_traces(self, callback: Callable[[Any], object] | None) -> None:
        """Hand each trace of a drive over as soon as it is read; None: no more."""
        ...

    def sense(self, channel: int, on_time_us: int, samples: int) -> CountsOfTrace:
        """One sense pulse."""
        ...

    def scan(self, channels: Sequence[int], on_time_us: int) -> messages.ScanResult:
        """Resting voltages, and a sense pulse on each where allowed."""
        ...

    def watch(
        self, channel: int, *, held: bool, duration_ms: int, sample_hz: int = 5000, depth_permille: int = 200
    ) -> AbstractContextManager[Iterable[messages.Dropout]]:
        """Watch a channel for dropouts."""
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
