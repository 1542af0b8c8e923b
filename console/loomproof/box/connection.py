"""The connection to one box: session, reconnect, events, time, stop and state."""

import contextlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType, TracebackType
from typing import Self

from loomproof.box.errors import Incompatible
from loomproof.box.handshake import BOOT_S, Capabilities, greet, read_capabilities, warnings_about
from loomproof.box.requests import ask, tell
from loomproof.link.base import Link, Subscriber
from loomproof.link.errors import BoxError
from loomproof.link.protocol import Counters
from loomproof_wire import messages


@dataclass(frozen=True, slots=True)
class Reconnection:
    """How the box was found again.

    Attributes:
        status: its state now; nothing is armed.
        configuration_kept: whether it still holds what it was told. If not, it was reset: configure it anew.
    """

    status: messages.Status
    configuration_kept: bool


class BoxConnection:
    """What a `Box` is before it drives anything; see there.

    Attributes:
        url: where it is.
        identity: who it is.
        channels: channel number -> driver, ceilings, calibration.
        warnings: what the operator should know of it, in words.
    """

    def __init__(self, url: str, open_again: Callable[[], Link], patience_s: float = BOOT_S) -> None:
        self.url = url
        self._open_again = open_again
        self._patience_s = patience_s
        self._subscribers: tuple[Subscriber, ...] = ()
        self._telemetry: messages.Telemetry | None = None
        self._clock_offset_s = 0.0
        self._link, found = self._begin()
        self._take(found)
        self._expected = dict(found.configurations)

    # --- connection -----------------------------------------------------------------------------------------

    def reconnect(self) -> Reconnection:
        """Open the port anew after it was lost, and read the box's state again. Re-arms and re-sends nothing.

        Raises:
            LinkLost, NoReply: it is not back yet; may be called again.
            Incompatible: it is another box.
        """
        before_s = self.now_s()
        self._link.close()
        self._telemetry = None
        link, found = self._begin()
        if found.identity.serial_number != self.identity.serial_number:
            link.close()
            raise Incompatible(
                f"this is box {found.identity.serial_number}, not {self.identity.serial_number}",
                "connect the same box, or begin anew with this one",
            )
        self._link = link
        self._clock_offset_s += max(0.0, before_s - self.now_s())
        self._take(found)
        for callback in self._subscribers:
            link.subscribe(callback)
        return Reconnection(self.status(), found.configurations == self._expected)

    def close(self) -> None:
        """Stop the box if anything is armed or driven, then let go of the port. Safe to call twice."""
        with contextlib.suppress(BoxError):
            if self._link.connected:
                status = self.status()
                if status.armed_mask or status.state in (
                    messages.BoxState.DRIVING,
                    messages.BoxState.SENSING,
                ):
                    self._link.stop_now()
        self._link.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @property
    def connected(self) -> bool:
        """Whether the port is there."""
        return self._link.connected

    @property
    def counters(self) -> Counters:
        """What the link had to put up with."""
        return self._link.counters

    def subscribe(self, callback: Subscriber) -> Callable[[], None]:
        """Have every event and `LinkDown` told to `callback`, also after a reconnect; returns what ends that.

        The callback runs in the thread that reads the port: it must be quick and must not send requests.
        """
        self._subscribers = (*self._subscribers, callback)
        self._link.subscribe(callback)

        def unsubscribe() -> None:
            self._subscribers = tuple(other for other in self._subscribers if other is not callback)
            self._link.unsubscribe(callback)

        return unsubscribe

    def now_s(self) -> float:
        """Return the time of the link's clock; never falls, also over a reconnect."""
        return self._link.now_s() + self._clock_offset_s

    def sleep(self, seconds: float) -> None:
        """Let time pass; raises LinkLost when the port goes away meanwhile."""
        self._link.sleep(seconds)

    def call_in(self) -> None:
        """Show that the interface is alive; needed every 500 ms, or the box stops."""
        self._link.call_in()

    # --- state ----------------------------------------------------------------------------------------------

    def status(self) -> messages.Status:
        """Ask the box for its state."""
        return ask(self._link, messages.GetStatus(), messages.Status)

    @property
    def latest_status(self) -> messages.Status | None:
        """The newest state that the box told of its own accord, None before the first."""
        telemetry = self._telemetry
        return messages.Status.decode_body(telemetry.encode_body()) if telemetry else None

    def stop_now(self) -> None:
        """Send a stop at once, from any thread or signal handler; waits for nothing. See `Link.stop_now`."""
        self._link.stop_now()

    def stop(self) -> None:
        """Send a stop at once, then wait until the box acknowledges one."""
        self._link.stop_now()
        tell(self._link, messages.Stop())

    def clear_stop(self) -> None:
        """Leave the stopped state; nothing is armed afterwards."""
        tell(self._link, messages.ClearStop())

    def cancel(self) -> None:
        """End whatever is driven or sensed, without latching; from any thread."""
        tell(self._link, messages.Cancel())

    def arm(self, hazard: messages.Hazard, duration_s: float) -> None:
        """Arm one hazard class for a bounded time, rounded down to a millisecond."""
        tell(self._link, messages.Arm(hazard, int(duration_s * 1000)))

    def disarm(self, hazard: messages.Hazard = messages.Hazard.NONE) -> None:
        """Disarm one class, or all of them with `NONE`; a drive that needs it ends."""
        tell(self._link, messages.Disarm(hazard))

    # --- inside ---------------------------------------------------------------------------------------------

    def _begin(self) -> tuple[Link, Capabilities]:
        link = self._open_again()
        try:
            link.subscribe(self._note)
            return link, read_capabilities(link, greet(link, self._patience_s))
        except BaseException:
            link.close()
            raise

    def _take(self, found: Capabilities) -> None:
        self.identity = found.identity
        self.channels: Mapping[int, messages.ChannelInfo] = MappingProxyType(found.channels)
        self.warnings = warnings_about(found.identity)

    def _note(self, event: object) -> None:
        if isinstance(event, messages.Telemetry):
            self._telemetry = event
