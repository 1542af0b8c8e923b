"""Every case, in the order in which they are run, and what no case can provoke."""

from loomproof.boxcheck.case import Case
from loomproof.boxcheck.cases import arming as cases_arming
from loomproof.boxcheck.cases import configuration as cases_configuration
from loomproof.boxcheck.cases import driving as cases_driving
from loomproof.boxcheck.cases import frames as cases_frames
from loomproof.boxcheck.cases import limits as cases_limits
from loomproof.boxcheck.cases import looking as cases_looking
from loomproof.boxcheck.cases import sessions as cases_sessions
from loomproof.boxcheck.cases import stop as cases_stop
from loomproof.boxcheck.cases import traces as cases_traces

CASES: tuple[Case, ...] = (
    *cases_sessions.BOOK.cases,
    *cases_frames.BOOK.cases,
    *cases_stop.BOOK.cases,
    *cases_configuration.BOOK.cases,
    *cases_arming.BOOK.cases,
    *cases_limits.BOOK.cases,
    *cases_driving.BOOK.cases,
    *cases_traces.BOOK.cases,
    *cases_looking.BOOK.cases,
)

NOT_FROM_OUTSIDE: dict[str, str] = {
    "the hardware watchdog resets a hung box": "nothing on the wire may hang a box; provoke it with "
    "the board's "
    "debugger and look for stop reason `watchdog` in the next status",
    "the stop input works without software": "seen from outside it looks the same as with software; hold the "
    "processor in reset, press the button and measure that the gate supply is gone",
    "over-current acts within one sample period": "the wire tells that it acted, not when; measure "
    "the pin with an "
    "oscilloscope against the board's own sample period",
    "outputs are off before the reply to a stop": "the wire shows order, not pins; the events and "
    "the state are "
    "checked, the pin itself needs an oscilloscope",
    "UART overruns": "a box must not lose bytes at its own line rate; the counters are shown by `get_status`",
}
"""What the line alone cannot show, or not in full, and how to see it."""
