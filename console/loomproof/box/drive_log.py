"""Following one drive from its request to its end, reading traces as they become ready."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from loomproof.box.drive_outcome import SAMPLE_SET_BYTES, DriveOutcome, RawTrace, trace_from_bytes
from loomproof.box.errors import EventLost
from loomproof.box.requests import ask, stop_reason
from loomproof.link.base import Link
from loomproof.link.errors import RequestRefused, Unreadable
from loomproof_wire import messages

QUIET_S = 0.5
"""Without any event for this long the box is asked how it stands (telemetry comes every 0.1 s)."""

_UNDER_WAY = (messages.BoxState.DRIVING, messages.BoxState.SENSING)


def read_trace(link: Link, header: messages.TraceReady) -> RawTrace:
    """Read a trace chunk by chunk.

    Raises:
        RequestRefused: with `no_trace`, when newer traces have pushed it out.
        Unreadable: the box sent other samples than it was asked for.
    """
    data = bytearray()
    while (first := len(data) // SAMPLE_SET_BYTES) < header.sample_count:
        chunk = ask(link, messages.ReadTrace(header.trace_id, first), messages.TraceChunk)
        size = len(chunk.samples)
        if (
            (chunk.trace_id, chunk.first_sample) != (header.trace_id, first)
            or size == 0
            or size % SAMPLE_SET_BYTES
            or first + size // SAMPLE_SET_BYTES > header.sample_count
        ):
            raise Unreadable(chunk.KIND, chunk.encode_body(), "not the samples that were asked for")
        data += chunk.samples
    return trace_from_bytes(header, bytes(data))


def events_until_end(link: Link, channels: tuple[int, ...]) -> Iterator[messages.Event]:
    """Yield what the box reports of the drive of `channels` under way, its `drive_ended` last.

    Raises:
        EventLost: the box is idle and the report of the end did not come.
        LinkLost, NoReply: nothing is known of the box any more.
    """
    while True:
        event = link.next_event(QUIET_S)
        if event is None or _says_idle(event):
            # What was sent before the answer to this question has arrived before it.
            over = ask(link, messages.GetStatus(), messages.Status).state not in _UNDER_WAY
            while (event := link.next_event(0)) is not None:
                yield event
                if _ends(event, channels):
                    return
            if over:
                raise EventLost(channels[0])
            continue
        yield event
        if _ends(event, channels):
            return


def _says_idle(event: messages.Event) -> bool:
    return isinstance(event, messages.Telemetry) and event.state not in _UNDER_WAY


def _ends(event: messages.Event, channels: tuple[int, ...]) -> bool:
    return isinstance(event, messages.DriveEnded) and event.channel in channels


@dataclass(slots=True)
class DriveLog:
    """Gathers what a drive brings."""

    link: Link
    channels: tuple[int, ...]
    traces: list[RawTrace] = field(default_factory=list)
    traces_lost: int = 0
    trip: messages.Trip | None = None
    stop_reason: messages.StopReason | None = None
    on_trace: Callable[[RawTrace], object] | None = None
    """Called with each trace as soon as it is read, while the drive goes on."""

    def follow(self) -> DriveOutcome:
        """Wait for the end of the drive and return its outcome; raises as `events_until_end`."""
        missed_before = self.link.counters.missed_events
        for event in events_until_end(self.link, self.channels):
            match event:
                case messages.TraceReady() if event.channel in self.channels:
                    self._read(event)
                case messages.Trip() if event.channel in self.channels:
                    self.trip = event
                case messages.Stopped():
                    self.stop_reason = event.reason
                case messages.DriveEnded() if event.channel in self.channels:
                    return DriveOutcome(
                        pulses=event.pulses,
                        reason=event.reason,
                        traces=tuple(self.traces),
                        trip=self.trip,
                        stop_reason=self._why_stopped(event),
                        traces_lost=self.traces_lost,
                        events_missed=self.link.counters.missed_events - missed_before,
                    )
                case _:
                    pass
        raise EventLost(self.channels[0])

    def _why_stopped(self, ended: messages.DriveEnded) -> messages.StopReason | None:
        if self.stop_reason is None and ended.reason is messages.EndReason.STOPPED:
            # `drive_ended` comes before `stopped`.
            return stop_reason(self.link)
        return self.stop_reason

    def _read(self, header: messages.TraceReady) -> None:
        try:
            trace = read_trace(self.link, header)
        except RequestRefused as refused:
            if refused.reason is not messages.Refusal.NO_TRACE:
                raise
            self.traces_lost += 1
            return
        self.traces.append(trace)
        if self.on_trace is not None:
            self.on_trace(trace)
