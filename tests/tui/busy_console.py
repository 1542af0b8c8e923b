"""The real console with two keys more: Ctrl+B keeps the event loop busy, Ctrl+E breaks it.

Run by test_real_terminal.py.

usage: busy_console.py JOB BOX_URL MARKER BUSY_SECONDS
The marker file is written when the loop has become free again.
"""

import sys
import time
from pathlib import Path

from textual.binding import Binding

from loomproof.box.connect import connect
from loomproof.job.file.loading import load_job
from loomproof.procedure.session import Session
from loomproof.tui.app import Console, run_console
from loomproof.tui.desk.session_desk import SessionDesk

job_path, url, marker, busy_s = sys.argv[1:]


class BusyConsole(Console):
    BINDINGS = [Binding("ctrl+b", "busy", priority=True), Binding("ctrl+e", "crash", priority=True)]

    def action_busy(self) -> None:
        Path(f"{marker}.began").touch()
        time.sleep(float(busy_s))
        Path(marker).touch()

    def action_crash(self) -> None:
        raise RuntimeError("broken on purpose")


if __name__ == "__main__":
    job = load_job(Path(job_path))
    desk = SessionDesk(
        job,
        lambda: connect(url, auto_call_in=False),
        lambda box, operator: Session(job, box, operator),
        who="N. N.",
    )
    console = BusyConsole(desk)
    sys.exit(run_console(console))
