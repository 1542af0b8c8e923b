"""What to do when the box itself is faulty, with the signal words of ANSI Z535.4 (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from loomproof.facts.signal import Signal
from loomproof.safety.cautions import Caution
from loomproof_wire.messages import StopReason

_FAULTS: Mapping[StopReason, tuple[Signal, str]] = {
    StopReason.DRIVER_ON: (
        Signal.DANGER,
        "{where} conducts although it is switched off: its load is on. No stop key and no stop of the box can switch it "
        "off. Remove the battery from the box and the loom now, and do not use this box again before its driver is mended.",
    ),
    StopReason.CURRENT_PATH: (
        Signal.WARNING,
        "The box cannot read the current of {place}: it would not notice a short. Remove the battery from the box and "
        "the loom, and do not use this box again before it is mended.",
    ),
    StopReason.TIMER: (
        Signal.WARNING,
        "A timer of the box has failed: it cannot keep times. Remove the battery from the box and the loom, and do not use "
        "this box again before it is mended.",
    ),
    StopReason.CONVERTER: (
        Signal.WARNING,
        "The box read no current while it drove {place}: it would not notice a short. Remove the battery from the box and "
        "the loom, and do not use this box again before it is mended.",
    ),
}


def box_fault(reason: StopReason, channels: Iterable[int]) -> Caution | None:
    """What to do about a stop whose reason is a fault of the box itself; None for other reasons.

    Args:
        reason: why the box stopped.
        channels: the channels that it named with it.
    """
    if reason not in _FAULTS:
        return None
    signal, text = _FAULTS[reason]
    numbers = ", ".join(str(channel) for channel in sorted(channels))
    place = f"channel {numbers}" if numbers else "a channel"
    return Caution(signal, text.format(place=place, where=f"The driver of {place}"))
