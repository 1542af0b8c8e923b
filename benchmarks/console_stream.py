"""The console as `console_load` measures it: on a real box, and on request with everything changing at 20 Hz.

usage: console_stream.py JOB BOX_URL rest|stream

On SIGUSR1 the interface hangs for some seconds: a signal's handler runs in the thread of the event loop.

Streaming posts what a session would: a snapshot of all 16 channels, each with another measured value and one of
them driven, and a new trace of 300 samples over its band and an earlier one. The pages cannot tell the difference.
"""

from __future__ import annotations

import math
import random
import signal
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

from loomproof.box.connect import connect
from loomproof.facts.verdict import Verdict
from loomproof.job.file.loading import load_job
from loomproof.procedure.session import Session
from loomproof.tui import messages
from loomproof.tui.app import Console, run_console
from loomproof.tui.desk.protocol import Post
from loomproof.tui.desk.session_desk import SessionDesk
from loomproof.tui.views.trace import Curve, TraceBand, TraceView
from loomproof.tui.words import Live

RATE_HZ = 20.0
SAMPLES = 300
VARIANTS = 40
HANG_S = 1.5


class StreamingDesk(SessionDesk):
    """A desk whose channels and trace never stand still."""

    def __init__(self, *arguments: Any, **more: Any) -> None:  # noqa: ANN401 - as the desk takes them
        super().__init__(*arguments, **more)
        self._view = TraceView()
        self._rng = random.Random(1)

    def begin(self, post: Post) -> None:
        super().begin(post)
        threading.Thread(target=self._stream, args=(post,), name="stream", daemon=True).start()

    def expected(self, channel: int, *, earlier: int = 1, sisters: int = 1) -> TraceView:
        return self._view

    def _trace(self) -> TraceView:
        times = tuple(n * 26e-6 for n in range(SAMPLES))
        clean = [0.9 * -math.expm1(-at / 1e-3) if at < 6e-3 else 0.0 for at in times]
        noisy = tuple(value + self._rng.gauss(0.0, 4e-3) for value in clean)
        before = tuple(value + self._rng.gauss(0.0, 4e-3) for value in clean)
        band = TraceBand(times, tuple(0.9 * value for value in clean), tuple(1.1 * value for value in clean))
        curves = (Curve("ch 1", times, noisy, 0), Curve("drive before", times, before, 1))
        return TraceView("streaming", curves, band, channel=1, on_time_s=6e-3)

    def _stream(self, post: Post) -> None:
        while self._session is None:
            time.sleep(0.1)
        # Made beforehand: what is measured is the console, not this.
        drawn = [(self._progress(tick), self._trace()) for tick in range(VARIANTS)]
        tick, due = 0, time.monotonic()
        while True:
            due += 1 / RATE_HZ
            time.sleep(max(due - time.monotonic(), 0.0))
            progress, self._view = drawn[tick % VARIANTS]
            tick += 1
            post(messages.Progressed(progress))
            post(messages.TraceCaptured(self._view))

    def _progress(self, tick: int) -> messages.Progress:
        progress = self._gathered.progress({tick % 16 + 1: Live.DRIVEN})
        channels = tuple(
            replace(
                channel,
                measured=f"{self._rng.uniform(1, 99):.2f} Ω",
                verdict=(Verdict.PASS, Verdict.UNSURE)[(tick + channel.channel) % 2],
            )
            for channel in progress.channels
        )
        return replace(progress, channels=channels, running=True)  # as while a step drives


def main() -> int:
    path, url, how = sys.argv[1:]
    signal.signal(signal.SIGUSR1, lambda number, frame: time.sleep(HANG_S))
    job = load_job(Path(path))
    kind = StreamingDesk if how == "stream" else SessionDesk
    desk = kind(
        job, lambda: connect(url, auto_call_in=False), lambda box, who: Session(job, box, who), who="N. N."
    )
    return run_console(Console(desk))


if __name__ == "__main__":
    sys.exit(main())
