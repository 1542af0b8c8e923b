"""The rest that a channel owes the box after a drive: waited for here, so that the box need not refuse."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

from loomproof.facts.drive import DriveRequest
from loomproof.procedure.context import Core
from loomproof.safety.approve import train_of_each

MARGIN_S = 0.01
"""The box rounds its rest up to whole milliseconds; its clock runs a little differently."""
SLICE_S = 0.2
"""How often a wait looks whether everything was stopped."""


def wait_for_rest(core: Core, channels: tuple[int, ...]) -> None:
    """Wait until the box would drive these channels again.

    Raises:
        StepInterruptedError: everything was stopped meanwhile.
        LinkLost: the box is gone.
    """
    until_s = max(core.rested_s.get(channel, 0.0) for channel in channels)
    while (left_s := until_s - core.box.now_s()) > 0.0:
        core.box.sleep(min(SLICE_S, left_s))
        core.check()


@contextlib.contextmanager
def owing_rest(core: Core, request: DriveRequest) -> Iterator[None]:
    """Note the rest that a drive owes, however it ends: what it was on for at most, over the channel's duty."""
    began_s = core.box.now_s()
    try:
        yield
    finally:
        now_s = core.box.now_s()
        on_s = min(train_of_each(request).on_time_us * 1e-6, now_s - began_s)
        for channel in request.channels:
            duty = core.conditions.budget(channel).max_duty_permille / 1000
            core.rested_s[channel] = now_s + on_s * (1.0 / duty - 1.0) + MARGIN_S
