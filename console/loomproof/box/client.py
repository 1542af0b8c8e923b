"""The typed client of one box: configuring, driving and sensing.

Calls block; times are seconds of the link's clock unless the name says otherwise.
"""

import contextlib
import threading
import zlib
from collections.abc import Callable, Iterable, Iterator

from loomproof.box.connection import BoxConnection
from loomproof.box.drive_log import DriveLog
from loomproof.box.drive_message import drive_message
from loomproof.box.drive_outcome import DriveOutcome, RawTrace
from loomproof.box.errors import ConfigurationMismatch, EventLost
from loomproof.box.handshake import BOOT_S, read_configurations
from loomproof.box.requests import ask, tell
from loomproof.box.watch import WatchRun
from loomproof.facts.approved_drive import ApprovedDrive
from loomproof.facts.drive import DriveRequest, HoldRequest
from loomproof.link.base import Link
from loomproof.link.errors import LinkLost, RequestRefused
from loomproof_wire import messages

SENSE_TRIES = 3


class Box(BoxConnection):
    """One box, connected. Made by `loomproof.box.connect`.

    Driving calls block until the drive has ended and its traces are read; whatever goes wrong in one of them,
    the box is told to stop first. `stop_now`, `cancel`, `call_in` and `status` may be called from any thread
    meanwhile.

    Attributes:
        url: where it is.
        identity: who it is.
        channels: channel number -> driver, ceilings, calibration.
        warnings: what the operator should know of it, in words.
    """

    def __init__(self, url: str, open_again: Callable[[], Link], patience_s: float = BOOT_S) -> None:
        super().__init__(url, open_again, patience_s)
        self._driving = threading.Lock()
        self._driving_channel = 0

    # --- configuration --------------------------------------------------------------------------------------

    def configure(self, configuration: messages.Configure) -> None:
        """Tell the box what hangs on a channel. Drops every arming."""
        tell(self._link, configuration)
        self._expected[configuration.channel] = messages.ChannelConfig.decode_body(
            configuration.encode_body()
        )

    def config(self, channel: int) -> messages.ChannelConfig:
        """Read a channel's configuration back."""
        return ask(self._link, messages.GetConfig(channel), messages.ChannelConfig)

    def verify_configuration(self) -> None:
        """Check that the box holds what it was told (and, of other channels, what it held on connecting).

        Raises:
            ConfigurationMismatch: naming the channels that differ.
        """
        bodies = b"".join(self._expected[n].encode_body() for n in sorted(self._expected))
        if ask(self._link, messages.GetDigest(), messages.Digest).digest == zlib.crc32(bodies):
            return
        held = read_configurations(self._link, self.identity.channel_count)
        wrong = [n for n, configuration in held.items() if configuration != self._expected[n]]
        # The digest differs though every channel reads alike: believe none of them.
        raise ConfigurationMismatch(wrong or held)

    # --- driving --------------------------------------------------------------------------------------------

    def drive(
        self, approved: ApprovedDrive[DriveRequest], on_trace: Callable[[RawTrace], object] | None = None
    ) -> DriveOutcome:
        """Drive what was approved, and nothing else; what it needs armed is armed already.

        Args:
            approved: made by `loomproof.safety.approve`.
            on_trace: called with each trace as soon as it is read, in this thread, while the drive goes on.

        Raises:
            RequestRefused: the box will not drive it; `BoxStopped` when it is stopped.
            EventLost: how the drive ended is not known.
            RangeError: a value is outside its range; nothing was sent.
            LinkLost, NoReply: the box was told to stop, if it can be reached.
        """
        request, channels = drive_message(approved), approved.request.channels
        with self._drive_lock(request.KIND, channels[0]):
            self._link.clear_events()
            self._start(request)
            try:
                return DriveLog(self._link, channels, on_trace=on_trace).follow()
            except EventLost:
                raise
            except BaseException:
                self._make_safe()
                raise

    def sense(self, channel: int, on_time_us: int, samples: int) -> RawTrace:
        """Give one sense pulse, too short to move or spark anything, and return its trace.

        A trace lost on the way is made again, as a sense pulse does no harm.

        Raises:
            EventLost: no trace came back in several tries.
        """
        for _ in range(SENSE_TRIES):
            with contextlib.suppress(EventLost), self._drive_lock(messages.Sense.KIND, channel):
                self._link.clear_events()
                tell(self._link, messages.Sense(channel, on_time_us, samples))
                outcome = DriveLog(self._link, (channel,)).follow()
                if outcome.traces or outcome.reason is not messages.EndReason.COMPLETE:
                    return _sensed(channel, outcome)
        raise EventLost(channel)

    def scan(self, channels: Iterable[int], on_time_us: int) -> messages.ScanResult:
        """Read resting drain voltages, then give each channel a sense pulse where allowed (0 us: none)."""
        mask = sum(1 << (channel - 1) for channel in set(channels))
        return ask(self._link, messages.Scan(mask, on_time_us), messages.ScanResult)

    def watch(
        self, channel: int, *, duration_ms: int, sample_hz: int = 5000, depth_permille: int = 200
    ) -> WatchRun:
        """Watch a resting channel for dropouts; nothing is driven.

        Use as `with box.watch(...) as watch: for dropout in watch: ...`.

        Args:
            channel: the channel.
            duration_ms: how long.
            sample_hz: how often its pin is read.
            depth_permille: a dropout takes at least this much off the pin's distance from its bias.

        Raises:
            RequestRefused: the box will not watch it.
        """
        request = messages.Watch(
            channel=channel,
            held=0,
            duration_ms=duration_ms,
            sample_hz=sample_hz,
            depth_permille=depth_permille,
        )
        return self._watch(request)

    def watch_held(
        self, approved: ApprovedDrive[HoldRequest], *, sample_hz: int = 5000, depth_permille: int = 200
    ) -> WatchRun:
        """Hold a channel on, as approved, and watch it for dropouts; used as `watch`."""
        request = messages.Watch(
            channel=approved.request.channel,
            held=1,
            duration_ms=approved.request.duration_ms,
            sample_hz=sample_hz,
            depth_permille=depth_permille,
        )
        return self._watch(request)

    # --- inside ---------------------------------------------------------------------------------------------

    def _watch(self, request: messages.Watch) -> WatchRun:
        lock = contextlib.ExitStack()
        lock.enter_context(self._drive_lock(request.KIND, request.channel))
        try:
            self._link.clear_events()
            self._start(request)
        except BaseException:
            lock.close()
            raise
        return WatchRun(self._link, request.channel, self.cancel, lock.close)

    def _start(self, request: messages.Request) -> None:
        try:
            tell(self._link, request)
        except (RequestRefused, ValueError):
            raise
        except BaseException:
            # It may be running for all we know.
            self._make_safe()
            raise

    def _make_safe(self) -> None:
        with contextlib.suppress(LinkLost):
            self._link.stop_now()

    @contextlib.contextmanager
    def _drive_lock(self, kind: int, channel: int) -> Iterator[None]:
        if not self._driving.acquire(blocking=False):
            raise RequestRefused(kind, messages.Refusal.BUSY, self._driving_channel)
        self._driving_channel = channel
        try:
            yield
        finally:
            self._driving.release()


def _sensed(channel: int, outcome: DriveOutcome) -> RawTrace:
    if not outcome.traces:
        raise EventLost(channel)
    return outcome.traces[0]
