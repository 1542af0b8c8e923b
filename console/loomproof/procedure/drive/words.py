"""A drive request in words, with units: as the run sheet announces it and as the record keeps it (pure)."""

from __future__ import annotations

from typing import assert_never

from loomproof.facts.drive import (
    BridgeRequest,
    DriveRequest,
    HoldRequest,
    PeakHoldRequest,
    StepperRequest,
    TrainRequest,
)


def announced(request: DriveRequest) -> str:
    """What a step of the run sheet is going to drive."""
    match request:
        case BridgeRequest(duration_ms=duration_ms):
            return f"{duration_ms:g} ms through the half-bridge pair"
        case StepperRequest(train=train):
            return f"{train.count} steps forwards and back"
        case HoldRequest(duration_ms=duration_ms):
            return f"on for {duration_ms:g} ms"
        case TrainRequest(train=train) | PeakHoldRequest(train=train):
            pulses = "pulse" if train.count == 1 else "pulses"
            rate = "" if train.count == 1 else f" at {1e6 / train.period_us:g} Hz"
            held = ", peak and hold" if isinstance(request, PeakHoldRequest) else ""
            return f"{train.count} {pulses} of {train.on_time_us / 1000:g} ms{rate}{held}"
        case _:
            assert_never(request)


def recorded(request: DriveRequest) -> str:
    """What was driven, for the record."""
    channels = "/".join(str(channel) for channel in request.channels)
    match request:
        case BridgeRequest(duration_ms=duration_ms):
            return f"channel {channels}: {duration_ms:g} ms through the half-bridge"
        case StepperRequest(steps=steps, step_us=step_us):
            return f"channel {channels}: {steps} steps of {step_us / 1000:g} ms"
        case HoldRequest(duration_ms=duration_ms):
            return f"channel {channels}: on for {duration_ms:g} ms"
        case TrainRequest(train=train) | PeakHoldRequest(train=train):
            held = ", peak and hold" if isinstance(request, PeakHoldRequest) else ""
            rate = 1e6 / train.period_us
            return f"channel {channels}: {train.count} x {train.on_time_us / 1000:g} ms at {rate:g} Hz{held}"
        case _:
            assert_never(request)
