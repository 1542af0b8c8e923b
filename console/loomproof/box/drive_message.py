"""The wire message of an approved drive."""

from typing import assert_never

from loomproof.facts.approved_drive import ApprovedDrive
from loomproof.facts.drive import (
    BRIDGE_CHOP_US,
    BridgeRequest,
    DriveRequest,
    HoldRequest,
    PeakHoldRequest,
    StepperRequest,
    TrainRequest,
)
from loomproof_wire import messages


def drive_message(approved: ApprovedDrive[DriveRequest]) -> messages.Request:
    """Return the request that makes the box drive what was approved."""
    request = approved.request
    match request:
        case TrainRequest(channel=channel, train=train, capture=capture):
            return messages.DriveTrain(
                channel=channel,
                count=train.count,
                period_us=train.period_us,
                on_time_us=train.on_time_us,
                trace_every=capture.every,
                trace_decimation=capture.decimation,
                trace_samples=capture.samples,
            )
        case PeakHoldRequest(channel=channel, train=train, chop=chop, capture=capture):
            return messages.DrivePeakHold(
                channel=channel,
                count=train.count,
                period_us=train.period_us,
                on_time_us=train.on_time_us,
                peak_us=min(chop.peak_us, train.on_time_us),
                chop_period_us=chop.period_us,
                chop_duty_permille=chop.duty_permille,
                trace_every=capture.every,
                trace_decimation=capture.decimation,
                trace_samples=capture.samples,
            )
        case HoldRequest(channel=channel, duration_ms=duration_ms, capture=capture):
            return messages.DriveHold(
                channel=channel,
                duration_ms=duration_ms,
                trace_decimation=capture.decimation,
                trace_samples=capture.samples,
            )
        case BridgeRequest(capture=capture):
            return messages.DriveBridge(
                channel_supply=request.channel_supply,
                channel_ground=request.channel_ground,
                duration_ms=request.duration_ms,
                chop_period_us=BRIDGE_CHOP_US,
                duty_permille=request.level_permille,
                trace_decimation=capture.decimation,
                trace_samples=capture.samples,
            )
        case StepperRequest(windings=windings, steps=steps, step_us=step_us):
            return messages.DriveStepper(channels=windings, steps=steps, step_us=step_us)
        case _:
            assert_never(request)
