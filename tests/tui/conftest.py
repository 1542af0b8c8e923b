# ruff: noqa: E501 - invented data reads best one item a line
"""Fakes for the console's unit tests: a desk without a session, hands that remember, and a frozen look."""

from __future__ import annotations

import math
import sys
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.facts.verdict import Verdict
from loomproof.tui.app import Console
from loomproof.tui.messages import (
    BenchDriveEnded,
    PanelChanged,
    Progress,
    Progressed,
    TraceCaptured,
)
from loomproof.tui.pages.bench.plan_view import number_of
from loomproof.tui.pages.bench.view import BenchView, GaugeView, SettingView, WayView
from loomproof.tui.pages.loom.view import JobView
from loomproof.tui.pages.run_sheet.view import StepView
from loomproof.tui.views.channel import ChannelView
from loomproof.tui.views.engine import CylinderView, EngineView
from loomproof.tui.views.header import CavityView, HeaderView
from loomproof.tui.views.panel import Armed, LinkState, PanelView
from loomproof.tui.views.prompt import CautionView, ChoiceView, FactView, PromptView
from loomproof.tui.views.trace import Curve, ReadingView, TraceBand, TraceView
from loomproof.tui.words import Live

sys.path.insert(0, str(Path(__file__).parent))  # tmux.py, shared by the tests that run the real program


def make_channels() -> tuple[ChannelView, ...]:
    channels = []
    for n in range(1, 6):
        verdict, measured, reason = ("pass", "14.1 Ω", "") if n != 2 else ("fail", "", "no current")
        channels.append(
            ChannelView(
                n, f"Injector {n}", "injector, high resistance", f"H1-{n}", "GNWH", f"cylinder {n}", "fuse 7",
                "fuel", Live.DRIVEN if n == 3 else Live.OFF, verdict if n < 4 else "not tested", measured, reason,
                cylinder=n, role="fuel",
            )
        )  # fmt: skip
    for n in range(1, 6):
        channels.append(
            ChannelView(
                5 + n, f"Coil {n}", "ignition coil", f"H1-{10 + n}", "BURD", f"cylinder {n}", "fuse 9",
                "spark", Live.TRIPPED if n == 5 else Live.OFF, "unsure" if n == 1 else "not tested",
                cylinder=n, role="spark",
            )
        )  # fmt: skip
    channels.append(ChannelView(11, "Boost valve", "solenoid valve", "H1-20", "YE", "turbo", verdict="pass"))
    channels.append(
        ChannelView(
            12,
            "Purge valve",
            "solenoid valve",
            "H1-21",
            "WH",
            "left wing",
            verdict="not fitted",
            fitted=False,
        )
    )
    return tuple(channels)


def make_engine(live: int = 3) -> EngineView:
    return EngineView(
        cylinders=tuple(
            CylinderView(n, 1, n - 1, (("I", Verdict.PASS if n != 2 else Verdict.FAIL), ("S", Verdict.UNSURE if n == 1 else Verdict.NOT_TESTED)), n == live)
            for n in range(1, 6)
        ),
        layout="inline", orientation="crosswise", firing_order=(1, 2, 4, 5, 3),
        start_text="free end", end_text="power output", elsewhere=make_channels()[10:11],
    )  # fmt: skip


def make_headers() -> tuple[HeaderView, ...]:
    cavities = tuple(
        CavityView(int(c.cavity[3:]), c.wire, c.channel, c.name, verdict=c.verdict, live=c.live)
        for c in make_channels()
    )
    rail = CavityView(24, "RD", name="rail", feed="87", colours="red")
    return (
        HeaderView(
            "H1", "Engine header", (tuple(range(1, 13)), tuple(range(13, 25))), "wire", (*cavities, rail)
        ),
        HeaderView("H2", "Body header", ((1, 2, 3),), "mating"),
    )


def make_steps() -> tuple[StepView, ...]:
    fuel = (
        CautionView("DANGER", "An injector on a fuelled rail floods the cylinder. Isolate the fuel first."),
    )
    spark = (CautionView("WARNING", "Tens of kilovolts. Touch no coil, lead or plug while it is driven."),)
    return (
        StepView("look", 1, "passive look", "First look at the whole loom", "Nothing is driven. The box reads each resting pin.", "pass", outcome="12 pins read"),
        StepView("boost", 2, "drive", "Boost valve", "The valve clicks five times.", "pass", 11, drive="5 pulses of 20 ms at 5 Hz", outcome="24.8 Ω ± 0.2 Ω"),
        StepView("spark-ok", 3, "statement", "Sparks can hurt nobody", "You state three facts.", "waiting", hazard="spark", cautions=spark),
        StepView("coil-1", 4, "drive", "Coil, cylinder 1", "Ten sparks at the plug of cylinder 1.", "waiting", 6, "spark", "10 pulses of 2 ms at 10 Hz", spark),
        StepView("inj-3", 5, "drive", "Injector, cylinder 3", "The injector of cylinder 3 clicks ten times.", "running", 3, "fuel", "10 pulses of 3 ms at 10 Hz", fuel),
    )  # fmt: skip


def make_trace() -> TraceView:
    times = tuple(i * 26e-6 for i in range(230))

    def rise(r: float, tau: float) -> tuple[float, ...]:
        return tuple(13.5 / r * (1 - math.exp(-t / tau)) if t < 5e-3 else 0.0 for t in times)

    return TraceView(
        "Channel 3",
        (Curve("measured", times, rise(14.2, 1.0e-3)), Curve("before", times, rise(15.0, 1.2e-3))),
        TraceBand(times, rise(15.5, 1.3e-3), rise(13.2, 0.8e-3)),
        channel=3,
        reading="14.2 Ω",
    )  # fmt: skip


NOTICED = PromptView(
    "7", "Injector, cylinder 3", "Did you hear it click?",
    (ChoiceView("h", "heard it", "heard"), ChoiceView("s", "saw it", "seen"), ChoiceView("n", "noticed nothing", "nothing")),
    channel=3,
)  # fmt: skip
ISOLATION = PromptView(
    "8", "The fuel supply is isolated", "Injectors are blocked until this is stated.",
    (ChoiceView("i", "I state this", "state"), ChoiceView("l", "leave", "leave")),
    (CautionView("DANGER", "An injector on a fuelled rail floods the cylinder; vapour explodes."),),
    (
        FactView("pump", "the fuel pump cannot run: its fuse, relay or connector is out"),
        FactView("rail", "the rail pressure is relieved"),
        FactView("air", "there is no liquid fuel and no smell of fuel about"),
    ),
    "isolated",
)  # fmt: skip
LIVE_PANEL = PanelView(
    LinkState.LIVE, "bench box", True, 13.52, "idle",
    armed=(Armed("fuel", 0), Armed("spark", 42.0)), isolation_left_s=512,
)  # fmt: skip


FIELDS = {
    "train": {"count": "10", "frequency_hz": "10", "width_ms": "3"},
    "hold": {"duration_ms": "0"},
    "stepper": {"steps": "32", "rate_hz": "50", "direction": "1"},
}
LABELS = {
    "count": ("Pulses", "", "1 to 100"),
    "frequency_hz": ("Rate", "per second", "0.1 to 50 per second"),
    "width_ms": ("On-time", "ms", "0.05 to 5 ms"),
    "duration_ms": ("Duration", "ms", "nothing fits"),
    "steps": ("Steps", "", "1 to 500"),
    "rate_hz": ("Rate", "/s", "10 to 400 /s"),
    "direction": ("Direction", "", ""),
}


class FakeDesk:
    """A desk that does nothing but remember what it was asked."""

    def __init__(self) -> None:
        self.job = JobView(
            "Loom of a five-cylinder turbo", "L-0042", "a customer", "coupé", "a builder", "vehicle"
        )
        self.asked: list[tuple[object, ...]] = []
        self.stops = 0
        self.calls = 0
        self.blocked = True
        self.box_blocks: tuple[tuple[str, str], ...] = ()
        self.drawn: tuple[int, int, int] = (0, 0, 0)
        self.closed = False
        self.begun = False
        self.post = lambda message: None
        self.progress = Progress(make_steps(), "inj-3", make_channels(), make_engine(), make_headers())

    def begin(self, post) -> None:
        self.post = post
        self.begun = True
        post(PanelChanged(LIVE_PANEL))
        post(Progressed(self.progress))
        post(TraceCaptured(make_trace()))

    def run_step(self, step_id) -> None:
        self.asked.append(("run_step", step_id))

    def run_on(self) -> None:
        self.asked.append(("run_on",))

    def skip(self, step_id, reason) -> None:
        self.asked.append(("skip", step_id, reason))

    def answer(self, prompt, reply) -> None:
        self.asked.append(("answer", prompt.id, reply))

    def drive(self, request) -> None:
        self.asked.append(("drive", request))
        self.post(BenchDriveEnded(request.channel, f"driven: {request.way}", ok=True))

    def cancel(self) -> None:
        self.asked.append(("cancel",))

    def bench(self, channel, way, texts) -> BenchView:
        way = way or "train"
        blocks = (('Nobody has stated "The fuel supply is isolated".', "Check it, then state it. Press u."),)
        fields = {key: texts.get(key, text) for key, text in FIELDS[way].items()}
        values = {key: value for key, text in fields.items() if (value := number_of(text)) is not None}
        wrong = "at most 5 ms: the load type's own limit." if values.get("width_ms", 0) > 5 else ""
        turn = (("1", "forwards"), ("-1", "backwards"))
        settings = tuple(
            SettingView(
                key, LABELS[key][0], LABELS[key][1], text, LABELS[key][2], "the load type's own limit.",
                wrong if key == "width_ms" else "",
                "at most 5 ms" if wrong and key == "width_ms" else "",
                turn if key == "direction" else (),
            )
            for key, text in fields.items()
        )  # fmt: skip
        ways = [WayView("train", "train"), WayView("hold", "hold", "this load is never held on")]
        if channel >= 11:
            ways = [WayView("train", "train"), WayView("stepper", "stepper")]
        return BenchView(
            channel, way, tuple(ways), settings,
            blocks=self.box_blocks or (blocks if channel < 6 and self.blocked else ()),
            gauges=(
                GaugeView("Energy", text="up to 84 mJ heat a pulse, 7.2 mJ stored, 0.84 J in all"),
                GaugeView("Heat", 0.3, 0.6, "over half", "18 K now, 36 after, 60 allowed"),
            ),
            cautions=(CautionView("WARNING", "Tens of kilovolts. Touch no coil while it is driven."),)
            if 6 <= channel <= 10 else (),
            summary="" if wrong else "10 pulses of 3 ms at 10 Hz, 1.0 s",
            values=tuple(values.items()), ready=not wrong and all(fields.values()),
        )  # fmt: skip

    def unblock(self, channel) -> None:
        self.asked.append(("unblock", channel))

    def expected(self, channel, *, earlier=1, sisters=1) -> TraceView:
        self.drawn = (channel, earlier, sisters)
        return replace(make_trace(), channel=channel, on_time_s=5e-3)

    def readings(self, channel, first_s, second_s) -> ReadingView:
        return ReadingView(
            (
                ("A", f"{first_s * 1e3:.3f} ms  0.41 ± 0.01 A"), ("B", f"{second_s * 1e3:.3f} ms  0.92 ± 0.01 A"),
                ("B-A", f"{(second_s - first_s) * 1e3:.3f} ms  0.51 ± 0.01 A"), ("slope", "127 ± 4 A/s"),
                ("charge", "3.31 ± 0.02 mC"), ("energy", "44.1 ± 0.3 mJ taken"),
            )
        )  # fmt: skip

    def start_walk(self, *, free) -> None:
        self.asked.append(("start_walk", free))

    def walk_key(self, key, place=None) -> None:
        self.asked.append(("walk_key", key, place))

    def start_wiggle(self, channels, *, held) -> None:
        self.asked.append(("start_wiggle", channels, held))

    def end_wiggle(self) -> None:
        self.asked.append(("end_wiggle",))

    def mark_hand(self, place, number) -> None:
        self.asked.append(("mark_hand", place, number))

    def run_steps(self, step_ids) -> None:
        self.asked.append(("run_steps", step_ids))

    def stop_now(self) -> None:
        self.stops += 1

    def clear_stop(self) -> None:
        self.asked.append(("clear_stop",))

    def call_in(self) -> None:
        self.calls += 1

    def reconnect(self) -> None:
        self.asked.append(("reconnect",))

    def close(self) -> None:
        self.closed = True


class FakeHands:
    """Hands that remember what they did."""

    def __init__(self) -> None:
        self.did: list[tuple[object, ...]] = []

    def __getattr__(self, name):
        return lambda *args: self.did.append((name, *args))


@pytest.fixture(autouse=True)
def plain_terminal(monkeypatch) -> None:
    for name in ("NO_COLOR", "TEXTUAL_THEME", "COLORFGBG"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture
def desk() -> FakeDesk:
    return FakeDesk()


@pytest.fixture
def hands() -> FakeHands:
    return FakeHands()


class Begun(Console):
    """A console whose test begins when the desk has."""

    @asynccontextmanager
    async def run_test(self, **options):
        async with super().run_test(**options) as pilot:
            await pilot.pause()
            await pilot.pause()
            yield pilot


@pytest.fixture
def console(desk, hands) -> Console:
    return Begun(desk, hands=hands)


@pytest.fixture
def noticed() -> PromptView:
    choices = (ChoiceView("h", "heard it", "heard"), ChoiceView("n", "noticed nothing", "nothing"))
    return PromptView("7", "Injector, cylinder 3", "Did you hear it click?", choices, channel=3)


@pytest.fixture
def isolation() -> PromptView:
    facts = tuple(FactView(key, f"fact {key} holds") for key in ("pump", "rail", "air"))
    choices = (ChoiceView("i", "I state this", "state"), ChoiceView("l", "leave", "leave"))
    return PromptView(
        "8", "The fuel supply is isolated", "Look first.", choices, facts=facts, typed_word="isolated"
    )
