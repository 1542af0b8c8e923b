"""Exit codes that several commands share; `prove` and `box-check` have verdicts of their own beside them."""

BROKEN_CHAIN = 1
"""A record was altered after it was written."""
BAD_CALL = 2
"""A bad job, table, record or call; no terminal; a file that may not be written."""
NOTHING_ANSWERS = 3
"""No serial port has a box that answers."""
