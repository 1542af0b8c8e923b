"""Every case in the order of running, and the guarantees that no case can check."""

from loomproof.boxcheck.case import CheckCase
from loomproof.boxcheck.cases import arming as cases_arming
from loomproof.boxcheck.cases import configuration as cases_configuration
from loomproof.boxcheck.cases import drives as cases_drives
from loomproof.boxcheck.cases import frames as cases_frames
from loomproof.boxcheck.cases import limits as cases_limits
from loomproof.boxcheck.cases import scan_and_watch as cases_scan_and_watch
from loomproof.boxcheck.cases import sessions as cases_sessions
from loomproof.boxcheck.cases import stop as cases_stop
from loomproof.boxcheck.cases import traces as cases_traces

CASES: tuple[CheckCase, ...] = (
    *cases_sessions.BOOK.cases,
    *cases_frames.BOOK.cases,
    *cases_stop.BOOK.cases,
    *cases_configuration.BOOK.cases,
    *cases_arming.BOOK.cases,
    *cases_limits.BOOK.cases,
    *cases_drives.BOOK.cases,
    *cases_traces.BOOK.cases,
    *cases_scan_and_watch.BOOK.cases,
)

NOT_FROM_OUTSIDE: dict[str, str] = {
    "the hardware watchdog resets a hung box": "no message may hang a box; hang it with "
    "the board's debugger and look for stop reason `watchdog` in the next status",
    "nothing that fails alone leaves an output on": "no message may stop a timer or the converter; stop one with the "
    "board's debugger during a hold, and look for stop reason `watchdog`, `timer` or `converter`",
    "the stop input works without software": "from outside it looks the same as with software; "
    "hold the processor in reset, press the button and measure that the gate supply is gone",
    "over-current acts within one sample period": "the wire shows that it acted, not when; measure the "
    "pin with an oscilloscope against the board's own sample period",
    "outputs are off before the reply to a stop": "the wire shows order, not pins; the events and the "
    "state are checked, the pin itself needs an oscilloscope",
    "a driver that conducts while it is off stops the box": "bridge the driver's switch (drain to ground of a low-side "
    "one) at a lamp of 5 W and look for stop reason `driver_on` and the channel in `tripped_mask`; pull the current "
    "amplifier's supply and look for `current_path`",
    "UART overruns": "a box must not lose bytes at its own line rate; the counters are shown by `get_status`",
}
"""Guarantees that the line alone cannot show, or not in full, and how to check them."""
