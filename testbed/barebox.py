"""A bare board as the box that the procedure speaks to: no wire, no controller, no time but what is asked for.

It refuses nothing and arms nothing, so it proves nothing about safety; the simulated box and the firmware do that.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, replace

import numpy as np

from loomproof.box.drive_outcome import DriveOutcome, RawTrace
from loomproof.facts.approved_drive import ApprovedDrive
from loomproof.facts.drive import (
    BridgeRequest,
    DriveRequest,
    HoldRequest,
    PeakHoldRequest,
    PulseTrain,
    StepperRequest,
    TraceCapture,
    TrainRequest,
)
from loomproof.job.model import Job
from loomproof_sim.controller.info import identity
from loomproof_sim.controller.limits import ChannelTable, sense_cap_us
from loomproof_sim.controller.watch import SETTLE_NS, DropoutFinder
from loomproof_sim.loom import channel_kinds
from loomproof_sim.readback import FINE, WIDE
from loomproof_wire import messages
from testbed.bareboard import PAUSE_S, BareBoard

SLOT_S = 1e-3
"""From one sense pulse of a scan to the next."""


@dataclass(frozen=True)
class Standstill:
    """The box held still at an instant, while hands act on its loom."""

    now_ns: int

    def catch_up(self) -> None:
        """There is nothing under way."""

    def supply_changed(self) -> None:
        """Nobody supervises the supply."""

    def set_stop_input(self, open_: bool) -> None:
        """There is no stop input.

        Raises:
            NotImplementedError: always.
        """
        raise NotImplementedError("a bare box has no stop input")


class BareBox:
    """What `loomproof.procedure.box_port.BoxPort` asks for, straight from a plant and its read-back.

    A train of which nothing is traced is cut down to its last pulse: what somebody beside the load notices is what
    that one did. Of a peak-and-hold pulse only the peak is driven, for what follows only holds it.

    Args:
        job: what is wired.
        board: the plant and its read-back.
    """

    def __init__(self, job: Job, board: BareBoard) -> None:
        self.board = board
        kinds = channel_kinds(job)
        self.identity = identity(board.board, "BARE")
        self.channels = {channel: board.info(channel, kind) for channel, kind in kinds.items()}
        self._table = ChannelTable(kinds)
        self._tripped: set[int] = set()

    # -- time and state ------------------------------------------------------------------------------------------

    def now_s(self) -> float:
        """The board's time."""
        return self.board.now_s

    def sleep(self, seconds: float) -> None:
        """Let time pass."""
        self.board.now_s += seconds

    def status(self) -> messages.Status:
        """Idle, with the supply as it is read now."""
        supply_counts, _ = self.board.rest_counts(min(self.channels))
        return messages.Status(
            uptime_ms=int(self.board.now_s * 1e3),
            state=messages.BoxState.IDLE,
            stop_reason=messages.StopReason.NONE,
            stop_input_open=0,
            supply_mv=round(supply_counts * self.board.readback.supply_uv_per_count * 1e-3),
            board_temperature_dc=round(self.board.board.board_temperature_c * 10),
            driving_channel=0,
            tripped_mask=sum(1 << (channel - 1) for channel in self._tripped),
            armed_mask=0,
            armed_left_ms=(0, 0, 0, 0, 0),
            free_traces=self.board.board.trace_slots,
            bad_frames=0,
            stale_frames=0,
            overruns=0,
        )

    def configure(self, configuration: messages.Configure) -> None:
        """Keep the limits of a channel and forget its trip."""
        self._table.configure(configuration)
        self._tripped.discard(configuration.channel)

    def verify_configuration(self) -> None:
        """Nothing is lost on the way."""

    def arm(self, hazard: messages.Hazard, duration_s: float) -> None:
        """Nothing is armed."""

    def disarm(self, hazard: messages.Hazard) -> None:
        """Nothing is armed."""

    def clear_stop(self) -> None:
        """Nothing is stopped."""

    def stop_now(self) -> None:
        """Nothing is under way when it could be called."""

    def call_in(self) -> None:
        """Nobody watches."""

    def subscribe(self, callback: object) -> None:
        """There are no unsolicited messages."""

    # -- hands ---------------------------------------------------------------------------------------------------

    def __enter__(self) -> Standstill:
        """Hold it still for the hands."""
        return Standstill(round(self.board.now_s * 1e9))

    def __exit__(self, *_: object) -> None:
        """Time goes on when it is asked for."""

    def set_cable(self, *, out: bool) -> None:
        """There is no cable.

        Raises:
            NotImplementedError: always.
        """
        raise NotImplementedError("a bare box has no cable")

    # -- looking -------------------------------------------------------------------------------------------------

    def sense(self, channel: int, on_time_us: int, samples: int) -> RawTrace:
        """One sense pulse."""
        period_s = self.board.board.sample_period_ns * 1e-9
        raw = self.board.counted_pulse(channel, on_time_us * 1e-6, period_s, samples, self._limit_a(channel))
        self._end_pulse(raw)
        return raw

    def scan(self, channels: Sequence[int], on_time_us: int) -> messages.ScanResult:
        """Resting pins, and a sense pulse on each where its load bears one."""
        board, mask, sensed, supply = self.board, 0, 0, 0
        counts = np.zeros((3, 16), dtype=np.int64)
        for channel in sorted(channels):
            mask |= 1 << (channel - 1)
            supply, counts[0, channel - 1] = board.rest_counts(channel)
            width_us = min(on_time_us, self._sense_cap_us(channel)) if on_time_us else 0
            if not width_us or channel in self._tripped:
                continue
            sensed |= 1 << (channel - 1)
            begin = board.now_s
            off_s, tripped = board.switched_pulse(channel, width_us * 1e-6, self._limit_a(channel))
            sample = board.plant.sample(channel, begin + off_s - 1e-9)
            row = board.readback.counts(
                channel, np.array([sample.current_a]), np.array([sample.supply_v]), np.array([sample.drain_v])
            )[0]
            counts[1:, channel - 1] = row[FINE], row[WIDE]
            if tripped:
                self._tripped.add(channel)
            board.now_s = begin + SLOT_S
        drain, fine, wide = (tuple(int(count) for count in row) for row in counts)
        return messages.ScanResult(mask, sensed, on_time_us, supply, drain, fine, wide)

    def _sense_cap_us(self, channel: int) -> int:
        supply_v = self.status().supply_mv / 1000
        return sense_cap_us(self._table.config(channel), self._table.kind(channel), supply_v)

    @contextmanager
    def watch(
        self, channel: int, *, duration_ms: int, sample_hz: int = 5000, depth_permille: int = 200
    ) -> Iterator[Iterable[messages.Dropout]]:
        """Watch a resting channel for dropouts.

        Where no contact can let go the pin only rests, and what passes is noise; time stands still meanwhile.
        """
        board = self.board
        times = np.arange(duration_ms * sample_hz // 1000) / sample_hz
        if board.plant.loom.branch(channel).intermittent is not None:
            pins, volts = board.plant.sample_many(channel, board.now_s + times)[1:]
            board.now_s += duration_ms * 1e-3
        else:
            resting = board.plant.sample(channel, board.now_s)
            pins, volts = np.full(times.size, resting.drain_v), np.full(times.size, resting.supply_v)
        counts = board.readback.counts(channel, np.zeros_like(times), volts, pins)
        pin_v = counts[:, 3] * (board.readback.drain_uv_per_count * 1e-6)
        supply_v = counts[:, 2] * (board.readback.supply_uv_per_count * 1e-6)
        value = np.abs(pin_v - board.board.bias_v) / np.maximum(supply_v, 1.0)
        times_ns = np.round(times * 1e9).astype(np.int64)
        learning = times_ns < SETTLE_NS
        finder = DropoutFinder(depth_permille / 1000)
        finder.learn(value[learning])
        finder.settle()
        found = finder.feed(times_ns[~learning], value[~learning]) + finder.close(int(times_ns[-1]))
        yield [
            messages.Dropout(
                channel, start // 1000, (end - start) // 1000, min(1000, max(0, round(depth * 1000)))
            )
            for start, end, depth in found
        ]

    def watch_held(
        self, approved: ApprovedDrive[HoldRequest], *, sample_hz: int = 5000, depth_permille: int = 200
    ) -> AbstractContextManager[Iterable[messages.Dropout]]:
        """Not on a bare box.

        Raises:
            NotImplementedError: always.
        """
        raise NotImplementedError("a bare box watches resting pins only")

    # -- driving -------------------------------------------------------------------------------------------------

    def drive(
        self, approved: ApprovedDrive[DriveRequest], on_trace: Callable[[RawTrace], object] | None = None
    ) -> DriveOutcome:
        """Drive what was approved: of an untraced train its last pulse, of a stepper each winding once.

        Every trace is handed over with the end of its drive, and none before.

        Raises:
            NotImplementedError: it is a hold or a half-bridge.
        """
        del on_trace
        match approved.request:
            case TrainRequest(channel=channel, train=train, capture=capture):
                if not capture.every:
                    return self._last_pulse(channel, train)
                return self._traced_train(channel, train, capture)
            case PeakHoldRequest(channel=channel, train=train, chop=chop, capture=capture):
                assert not capture.every, "a bare box traces plain trains only"
                peak_us = min(chop.peak_us, train.on_time_us)
                return self._last_pulse(channel, replace(train, on_time_us=peak_us))
            case StepperRequest() as stepper:
                return self._stepped(stepper)
            case HoldRequest():
                raise NotImplementedError("a bare box holds nothing on")
            case BridgeRequest():
                raise NotImplementedError("a bare box has no half-bridges")

    def _last_pulse(self, channel: int, train: PulseTrain) -> DriveOutcome:
        on_s = train.on_time_us * 1e-6
        off_s, tripped = self.board.switched_pulse(channel, on_s, self._limit_a(channel))
        return self._driven(channel, train.count, off_s, tripped)

    def _traced_train(self, channel: int, train: PulseTrain, capture: TraceCapture) -> DriveOutcome:
        on_s, limit_a = train.on_time_us * 1e-6, self._limit_a(channel)
        period_s = self.board.board.sample_period_ns * capture.decimation * 1e-9
        traces: list[RawTrace] = []
        for pulse in range(train.count):
            begin = self.board.now_s
            raw = self.board.counted_pulse(
                channel, on_s, period_s, capture.samples, limit_a, pulse_index=pulse
            )
            traces += [raw] if pulse % capture.every == 0 else []
            self._end_pulse(raw, begin + train.period_us * 1e-6)
            if raw.header.tripped:
                return DriveOutcome(pulse, messages.EndReason.TRIPPED, tuple(traces))
        return DriveOutcome(train.count, messages.EndReason.COMPLETE, tuple(traces))

    def _stepped(self, stepper: StepperRequest) -> DriveOutcome:
        """Each winding once, in the order of the steps."""
        for channel in stepper.windings if stepper.steps >= 0 else stepper.windings[::-1]:
            done = self._driven(
                channel,
                1,
                *self.board.switched_pulse(channel, stepper.step_us * 1e-6, self._limit_a(channel)),
            )
            if done.reason is not messages.EndReason.COMPLETE:
                return done
        return DriveOutcome(abs(stepper.steps), messages.EndReason.COMPLETE)

    def _limit_a(self, channel: int) -> float:
        return self._table.config(channel).max_current_ma / 1000

    def _end_pulse(self, raw: RawTrace, next_s: float = 0.0) -> None:
        """Let a load come to rest before whatever comes next."""
        self.board.now_s = max(self.board.now_s + PAUSE_S, next_s)
        if raw.header.tripped:
            self._tripped.add(raw.header.channel)

    def _driven(self, channel: int, count: int, off_s: float, tripped: bool) -> DriveOutcome:
        self.board.now_s += off_s + PAUSE_S
        if not tripped:
            return DriveOutcome(count, messages.EndReason.COMPLETE)
        self._tripped.add(channel)
        return DriveOutcome(0, messages.EndReason.TRIPPED)


__all__ = ["BareBox"]
