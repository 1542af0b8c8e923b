"""Keeps the newest state of the box for the status bar; safe from several threads."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import replace

from loomproof.box.errors import LinkDown
from loomproof.facts.kinds import HazardClass
from loomproof.procedure.events import InterlocksChanged, LinkFailed
from loomproof.safety.interlocks import Interlocks
from loomproof.safety.statements import StatementKind
from loomproof.tui.views.panel import Armed, BoxActivity, LinkState, PanelView
from loomproof.tui.words import Live
from loomproof_wire import messages

SILENT_S = 1.0
"""Telemetry comes every 100 ms; after this long without any the link counts as lost."""
STOP_TEXT: dict[messages.StopReason, str] = {
    messages.StopReason.NONE: "",
    messages.StopReason.BOOT: "",
    messages.StopReason.COMMAND: "stop key",
    messages.StopReason.STOP_INPUT: "stop switch",
    messages.StopReason.HEARTBEAT: "console fell silent",
    messages.StopReason.SUPPLY: "supply lost",
    messages.StopReason.WATCHDOG: "box hung",
    messages.StopReason.DRIVER_ON: "DANGER: remove battery",
    messages.StopReason.CURRENT_PATH: "WARNING: remove battery",
    messages.StopReason.TIMER: "WARNING: remove battery",
    messages.StopReason.CONVERTER: "WARNING: remove battery",
}
_HAZARDS = (
    HazardClass.FUEL,
    HazardClass.SPARK,
    HazardClass.CRANK,
    HazardClass.MOTION,
    HazardClass.HEAT,
)
"""In the order of `armed_left_ms`."""


class PanelKeeper:
    """Turns telemetry into a `PanelView`."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._view = PanelView()
        self._heard_at: float | None = None

    def view(self) -> PanelView:
        """Return the newest view."""
        return self._view

    def live(self) -> Mapping[int, Live]:
        """Return what each channel does that is not merely off."""
        view = self._view
        if view.link is not LinkState.LIVE:
            return {}
        live = dict.fromkeys(view.tripped, Live.TRIPPED)
        if view.driving_channel:
            live[view.driving_channel] = Live.SENSED if view.state is BoxActivity.SENSING else Live.DRIVEN
        return live

    def connecting(self) -> None:
        """The link is being opened."""
        self._change(link=LinkState.CONNECTING)

    def lost(self) -> None:
        """The link is gone. What was armed the box drops by itself; it is not shown as armed any more."""
        with self._lock:
            self._view = PanelView(LinkState.LOST, self._view.box_name, self._view.simulated)
            self._heard_at = None

    def identified(self, identity: messages.Identity) -> None:
        """The box has said who it is."""
        self._change(box_name=identity.board, simulated=bool(identity.simulated))

    def fell_silent(self) -> bool:
        """Return True once when nothing has come from the box for too long."""
        if self._heard_at is None or self._clock() - self._heard_at < SILENT_S:
            return False
        self.lost()
        return True

    def take(self, message: object, now_s: float, interlocks: Interlocks | None) -> bool:
        """Take in a message of the box; True when the view may have changed."""
        if isinstance(message, messages.Telemetry):
            self.status(message, now_s, interlocks)
            return True
        if isinstance(message, messages.Stopped):
            self._change(stopped=True, stop_reason=STOP_TEXT[message.reason], armed=(), isolation_left_s=None)
            return True
        if isinstance(message, LinkDown):
            self.lost()
            return True
        return False

    def take_event(self, event: object) -> bool:
        """Take in an event of the session; True when the view changed."""
        if isinstance(event, LinkFailed):
            self.lost()
            return True
        if (
            isinstance(event, InterlocksChanged)
            and StatementKind.FUEL_ISOLATED not in event.interlocks.statements
        ):
            self._change(isolation_left_s=None)
            return True
        return False

    def status(
        self, status: messages.Status | messages.Telemetry, now_s: float, interlocks: Interlocks | None
    ) -> None:
        """Take in the box's state."""
        left = status.armed_left_ms
        stopped = status.state is messages.BoxState.STOPPED
        with self._lock:
            self._heard_at = self._clock()
            self._view = replace(
                self._view,
                link=LinkState.LIVE,
                supply_v=status.supply_mv / 1000,
                state=BoxActivity[status.state.name],
                stopped=stopped,
                stop_reason=STOP_TEXT[status.stop_reason] if stopped else "",
                stop_input_open=bool(status.stop_input_open),
                armed=tuple(Armed(name, ms / 1000) for name, ms in zip(_HAZARDS, left, strict=True)),
                isolation_left_s=_isolation_left(interlocks, now_s),
                driving_channel=status.driving_channel,
                tripped=tuple(n + 1 for n in range(16) if status.tripped_mask >> n & 1),
            )

    def blocks(self, channel: int) -> list[tuple[str, str]]:
        """Return what in the box's state blocks a channel: (what, how to unblock it)."""
        view = self._view
        if view.link is not LinkState.LIVE:
            return [("The box does not answer.", "Check cable and supply, then connect again (Ctrl+P).")]
        blocks = []
        if view.stop_input_open:
            blocks.append(("The box's stop switch is open.", "Close it, then clear the stop with Ctrl+R."))
        elif view.stopped:
            why = f" ({view.stop_reason})" if view.stop_reason else ""
            blocks.append((f"The box is stopped{why}.", "Find out why, then clear it with Ctrl+R."))
        if channel in view.tripped:
            blocks.append(
                (
                    "The channel tripped on over-current.",
                    "Find and mend the short; then press u, which clears the trip.",
                )
            )
        return blocks

    def _change(self, **changes: object) -> None:
        with self._lock:
            self._view = replace(self._view, **changes)  # type: ignore[arg-type]


def _isolation_left(interlocks: Interlocks | None, now_s: float) -> float | None:
    statement = interlocks.statements.get(StatementKind.FUEL_ISOLATED) if interlocks is not None else None
    return statement.expires_s - now_s if statement is not None and statement.live(now_s) else None
