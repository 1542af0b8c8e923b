"""Runs a drive: switch edges at exact times, supervision of its current, traces of its pulses."""

from collections.abc import Iterator
from dataclasses import dataclass

from loomproof_sim.controller.activity import BoxParts
from loomproof_sim.controller.ports import NEVER_NS
from loomproof_sim.controller.sampler import BLOCK_NS, Over, Sampler
from loomproof_sim.controller.switch_edges import EdgeRole, SwitchEdge
from loomproof_sim.controller.traces import PulseCapture
from loomproof_wire.messages import BoxState, DriveEnded, EndReason, Hazard


@dataclass(frozen=True)
class TracePlan:
    """Which pulses are traced: with `every` 0 none, with n the first and every n-th after it."""

    every: int = 0
    decimation: int = 1
    sets: int = 0

    def wants(self, pulse: int) -> bool:
        """Return whether a pulse is traced."""
        return self.every > 0 and self.sets > 0 and pulse % self.every == 0


@dataclass(frozen=True)
class CheckedDrive:
    """A drive that passed every check.

    Attributes:
        channel: the channel that is reported at the end.
        channels: all channels that are driven.
        edges: switch edges, ascending in time.
        limits_a: current limit of each channel.
        hazards: hazard classes that must stay armed.
        trace: which pulses are traced.
        rest_ns: from the last switch-on edge until the drive may end, so that the next drive cannot exceed the
            duty.
        pump: whether a fuel pump is driven.
        state: what the status shows meanwhile.
        together: several channels conduct at once (a bridge), so all are supervised.
    """

    channel: int
    channels: tuple[int, ...]
    edges: Iterator[SwitchEdge]
    limits_a: dict[int, float]
    hazards: frozenset[Hazard]
    trace: TracePlan = TracePlan()
    rest_ns: int = 0
    pump: bool = False
    state: BoxState = BoxState.DRIVING
    together: bool = False


class DriveActivity:
    """A drive under way.

    Args:
        plan: the checked drive.
        parts: the parts of the box.
        now_ns: start; the edges count from it.
    """

    def __init__(self, plan: CheckedDrive, parts: BoxParts, now_ns: int) -> None:
        self.channel = plan.channel
        self.state = plan.state
        self.hazards = plan.hazards
        self.pump = plan.pump
        self._plan = plan
        self._parts = parts
        self._start_ns = now_ns
        self._edge = next(plan.edges, None)
        self._sampler = Sampler(parts.plant, parts.profile)
        self._sampled_to_ns = now_ns
        self._capture: PulseCapture | None = None
        self._on = False
        self._begun = 0
        self._delivered = 0
        self._rest_until_ns = now_ns
        self._on_ns = now_ns
        self._off_ns = now_ns
        self._reason = EndReason.COMPLETE

    def next_ns(self) -> int:
        """Return the next edge, the end of a block of samples, or the end of the drive."""
        due = NEVER_NS
        if self._edge is not None:
            due = self._start_ns + self._edge.at_ns
        elif not self._on:
            due = max(self._rest_until_ns, self._capture_end_ns())
        if self._on or self._capture is not None:
            due = min(due, self._sampled_to_ns + BLOCK_NS)
        return due

    def _capture_end_ns(self) -> int:
        return self._start_ns if self._capture is None else self._sampler.last_ns()

    def run(self, now_ns: int) -> bool:
        """Apply every edge that is due; return True when the drive has ended and was reported."""
        self.catch_up(now_ns)
        while self._edge is not None and self._start_ns + self._edge.at_ns <= now_ns:
            edge, self._edge = self._edge, next(self._plan.edges, None)
            self._apply(edge, self._start_ns + edge.at_ns)
            self._close_full_capture(now_ns)
        if self._edge is None and not self._on and now_ns >= max(self._rest_until_ns, self._capture_end_ns()):
            self.end(self._reason, now_ns)
            return True
        return False

    def catch_up(self, now_ns: int) -> None:
        """Sample up to `now_ns` and act on a sample over the limit."""
        if self._on or self._capture is not None:
            over = self._sampler.advance(now_ns)
            if over is not None:
                self._trip(over)
                self._sampler.advance(now_ns)
            self._close_full_capture(now_ns)
        self._sampled_to_ns = now_ns

    def end(self, reason: EndReason, now_ns: int) -> None:
        """Switch the outputs off at `now_ns`; a trace begun so far is kept."""
        self.catch_up(now_ns)
        if self._reason is EndReason.TRIPPED:
            reason = EndReason.TRIPPED
        self._parts.outputs.all_off(now_ns)
        if self._on:
            self._off_ns = now_ns
        self._on = False
        self._owe_rest(reason, now_ns)
        self._finish_capture(now_ns)
        self._edge = None
        self._parts.outbox.event(DriveEnded(self.channel, self._delivered, reason))

    def _owe_rest(self, reason: EndReason, now_ns: int) -> None:
        """Owe the rest after the last pulse; a train that ends by itself has rested before its end."""
        plan = self._plan
        rested = plan.rest_ns > 0 and reason is EndReason.COMPLETE
        if self._begun == 0 or plan.state is BoxState.SENSING or rested:
            return
        for channel in plan.channels:
            self._parts.rest.owe(channel, self._off_ns - self._on_ns, self._on_ns, now_ns)

    def _apply(self, edge: SwitchEdge, time_ns: int) -> None:
        for channel, drive in edge.drives:
            self._parts.outputs.set(channel, drive, time_ns)
        if edge.role is EdgeRole.PULSE_ON:
            self._begin_pulse(edge, time_ns)
        elif edge.role is EdgeRole.PULSE_OFF:
            self._on = False
            self._off_ns = time_ns
            self._delivered += 1
            self._sampler.limits_a = {}
            if self._capture is not None and self._capture.off_ns is None:
                self._capture.off_ns = time_ns

    def _begin_pulse(self, edge: SwitchEdge, time_ns: int) -> None:
        plan = self._plan
        limits = plan.limits_a if plan.together else {edge.sampled: plan.limits_a[edge.sampled]}
        self._on = True
        self._on_ns = time_ns
        self._rest_until_ns = time_ns + plan.rest_ns
        if plan.trace.wants(self._begun):
            self._finish_capture(time_ns)
            self._capture = PulseCapture(
                edge.sampled, self._begun, plan.trace.decimation, plan.trace.sets, on_ns=time_ns
            )
        if self._capture is None or self._capture.on_ns == time_ns:
            self._sampler.start(time_ns, edge.sampled, limits, self._capture)
        else:
            self._sampler.limits_a = limits
        self._begun += 1

    def _trip(self, over: Over) -> None:
        # A bridge's two channels share one current: the trip names the drive's channel, whichever showed it.
        channel = self.channel if self._plan.together else over.channel
        self._parts.trip(channel, over.current_a, over.time_ns)
        self._sampler.limits_a = {}
        self._on = False
        self._off_ns = over.time_ns
        self._edge = None
        self._reason = EndReason.TRIPPED
        self._rest_until_ns = over.time_ns
        if self._capture is not None:
            self._capture.tripped = True
            if self._capture.off_ns is None:
                self._capture.off_ns = over.time_ns

    def _close_full_capture(self, now_ns: int) -> None:
        capture = self._capture
        if capture is not None and capture.off_ns is not None and now_ns >= self._sampler.last_ns():
            self._finish_capture(now_ns)

    def _finish_capture(self, now_ns: int) -> None:
        if self._capture is not None:
            self._parts.traces.finish(self._capture, now_ns)
            self._capture = None
            self._sampler.sink = None
