# ruff: noqa: E501 - invented data reads best one item a line
"""Fakes for the console's unit tests: a desk without a session, hands that remember, and a frozen look."""

from __future__ import annotations

import math
import sys
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.tui import views as v
from loomproof.tui.app import Console
from loomproof.tui.messages import (
    BenchDriveEnded,
    PanelChanged,
    Progress,
    Progressed,
    TraceCaptured,
)
from loomproof.tui.pages.bench.view import number_of
from loomproof.tui.words import Live

sys.path.insert(0, str(Path(__file__).parent))  # tmux.py, shared by the tests that run the real program


def make_channels() -> tuple[v.ChannelView, ...]:
    channels = []
    for n in range(1, 6):
        verdict, measured, reason = ("pass", "14.1 Ω", "") if n != 2 else ("fail", "", "no current")
        channels.append(
            v.ChannelView(
                n, f"Injector {n}", "injector, high resistance", f"H1-{n}", "GN/WH", f"cylinder {n}", "fuse 7",
                "fuel", Live.DRIVEN if n == 3 else Live.OFF, verdict if n < 4 else "not tested", measured, reason,
                cylinder=n, role="fuel",
            )
        )  # fmt: skip
    for n in range(1, 6):
        channels.append(
            v.ChannelView(
                5 + n, f"Coil {n}", "ignition coil", f"H1-{10 + n}", "BU/RD", f"cylinder {n}", "fuse 9",
                "spark", Live.TRIPPED if n == 5 else Live.OFF, "unsure" if n == 1 else "not tested",
                cylinder=n, role="spark",
            )
        )  # fmt: skip
    channels.append(
        v.ChannelView(11, "Boost valve", "solenoid valve", "H1-20", "YE", "turbo", verdict="pass")
    )
    channels.append(
        v.ChannelView(
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


def make_engine(live: int = 3) -> v.EngineView:
    return v.EngineView(
        cylinders=tuple(
            v.CylinderView(n, 1, n - 1, (("I", "pass" if n != 2 else "fail"), ("S", "unsure" if n == 1 else "not tested")), n == live)
            for n in range(1, 6)
        ),
        layout="inline", orientation="crosswise", firing_order=(1, 2, 4, 5, 3),
        start_text="free end", end_text="power output", elsewhere=make_channels()[10:11],
    )  # fmt: skip


def make_headers() -> tuple[v.HeaderView, ...]:
    cavities = tuple(
        v.CavityView(int(c.cavity[3:]), c.wire, c.channel, c.name, verdict=c.verdict, live=c.live)
        for c in make_channels()
    )
    rail = v.CavityView(24, "RD", name="rail", feed="87", colours="red")
    return (
        v.HeaderView(
            "H1", "Engine header", (tuple(range(1, 13)), tuple(range(13, 25))), "wire", (*cavities, rail)
        ),
        v.HeaderView("H2", "Body header", ((1, 2, 3),), "mating"),
    )


def make_steps() -> tuple[v.StepView, ...]:
    fuel = (
        v.CautionView("DANGER", "An injector on a fuelled rail floods the cylinder. Isolate the fuel first."),
    )
    spark = (v.CautionView("WARNING", "Tens of kilovolts. Touch no coil, lead or plug while it is driven."),)
    return (
        v.StepView("look", 1, "passive look", "First look at the whole loom", "Nothing is driven. The box reads each resting pin.", "pass", outcome="12 pins read"),
        v.StepView("boost", 2, "drive", "Boost valve", "The valve clicks five times.", "pass", 11, drive="5 pulses of 20 ms at 5 Hz", outcome="24.8 Ω ± 0.2 Ω"),
        v.StepView("spark-ok", 3, "statement", "Sparks can hurt nobody", "You state three facts.", "waiting", hazard="spark", cautions=spark),
        v.StepView("coil-1", 4, "drive", "Coil, cylinder 1", "Ten sparks at the plug of cylinder 1.", "waiting", 6, "spark", "10 pulses of 2 ms at 10 Hz", spark),
        v.StepView("inj-3", 5, "drive", "Injector, cylinder 3", "The injector of cylinder 3 clicks ten times.", "running", 3, "fuel", "10 pulses of 3 ms at 10 Hz", fuel),
    )  # fmt: skip


def make_trace() -> v.TraceView:
    times = tuple(i * 26e-6 for i in range(230))

    def rise(r: float, tau: float) -> tuple[float, ...]:
        return tuple(13.5 / r * (1 - math.exp(-t / tau)) if t < 5e-3 else 0.0 for t in times)

    return v.TraceView(
        "Channel 3",
        (v.Curve("measured", times, rise(14.2, 1.0e-3)), v.Curve("before", times, rise(15.0, 1.2e-3))),
        v.TraceBand(times, rise(15.5, 1.3e-3), rise(13.2, 0.8e-3)),
        channel=3,
        reading="14.2 Ω",
    )  # fmt: skip


NOTICED = v.PromptView(
    "7", "Injector, cylinder 3", "Did you hear it click?",
    (v.ChoiceView("h", "heard it", "heard"), v.ChoiceView("s", "saw it", "seen"), v.ChoiceView("n", "noticed nothing", "nothing")),
    channel=3,
)  # fmt: skip
ISOLATION = v.PromptView(
    "8", "The fuel supply is isolated", "Injectors are blocked until this is stated.",
    (v.ChoiceView("i", "I state this", "state"), v.ChoiceView("l", "leave", "leave")),
    (v.CautionView("DANGER", "An injector on a fuelled rail floods the cylinder; vapour explodes."),),
    (
        v.FactView("pump", "the fuel pump cannot run: its fuse, relay or connector is out"),
        v.FactView("rail", "the rail pressure is relieved"),
        v.FactView("air", "there is no liquid fuel and no smell of fuel about"),
    ),
    "isolated",
)  # fmt: skip
LIVE_PANEL = v.PanelView(
    v.LinkState.LIVE, "bench box", True, 13.52, "idle",
    armed=(v.Armed("fuel", 0), v.Armed("spark", 42.0)), isolation_left_s=512,
)  # fmt: skip


FIELDS = {
    "train": {"count": "10", "frequency_hz": "10", "width_ms": "3"},
    "hold": {"duration_ms": "0"},
    "stepper": {"steps": "32", "rate_hz": "50", "direction": "1"},
}
LABELS = {
    "count": ("Pulses", "", "1 to 100"),
    "frequency_hz": ("Frequency", "Hz", "0.1 to 50 Hz"),
    "width_ms": ("Pulse width", "ms", "0.05 to 5 ms"),
    "duration_ms": ("Duration", "ms", "nothing fits"),
    "steps": ("Steps", "", "1 to 500"),
    "rate_hz": ("Rate", "/s", "10 to 400 /s"),
    "direction": ("Direction", "", ""),
}


class FakeDesk:
    """A desk that does nothing but remember what it was asked."""

    def __init__(self) -> None:
        self.job = v.JobView(
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

    def bench(self, channel, way, texts) -> v.BenchView:
        way = way or "train"
        blocks = (('Nobody has stated "The fuel supply is isolated".', "Check it, then state it. Press u."),)
        fields = {key: texts.get(key, text) for key, text in FIELDS[way].items()}
        values = {key: value for key, text in fields.items() if (value := number_of(text)) is not None}
        wrong = "at most 5 ms: the load type's own limit." if values.get("width_ms", 0) > 5 else ""
        turn = (("1", "forwards"), ("-1", "backwards"))
        settings = tuple(
            v.SettingView(
                key, LABELS[key][0], LABELS[key][1], text, LABELS[key][2], "the load type's own limit.",
                wrong if key == "width_ms" else "", turn if key == "direction" else (),
            )
            for key, text in fields.items()
        )  # fmt: skip
        ways = [v.WayView("train", "train"), v.WayView("hold", "hold", "this load is never held on")]
        if channel >= 11:
            ways = [v.WayView("train", "train"), v.WayView("stepper", "stepper")]
        return v.BenchView(
            channel, way, tuple(ways), settings,
            blocks=self.box_blocks or (blocks if channel < 6 and self.blocked else ()),
            gauges=(
                v.GaugeView("Energy", text="up to 84 mJ heat a pulse, 7.2 mJ stored, 0.84 J in all"),
                v.GaugeView("Heat", 0.3, 0.6, "over half", "18 K now, 36 after, 60 allowed"),
            ),
            cautions=(v.CautionView("WARNING", "Tens of kilovolts. Touch no coil while it is driven."),)
            if 6 <= channel <= 10 else (),
            summary="" if wrong else "10 pulses of 3 ms at 10 Hz, 1.0 s",
            values=tuple(values.items()), ready=not wrong and all(fields.values()),
        )  # fmt: skip

    def unblock(self, channel) -> None:
        self.asked.append(("unblock", channel))

    def expected(self, channel, *, earlier=1, sisters=1) -> v.TraceView:
        self.drawn = (channel, earlier, sisters)
        return replace(make_trace(), channel=channel, on_time_s=5e-3)

    def readings(self, channel, first_s, second_s) -> v.ReadingView:
        return v.ReadingView(
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
def noticed() -> v.PromptView:
    choices = (v.ChoiceView("h", "heard it", "heard"), v.ChoiceView("n", "noticed nothing", "nothing"))
    return v.PromptView("7", "Injector, cylinder 3", "Did you hear it click?", choices, channel=3)


@pytest.fixture
def isolation() -> v.PromptView:
    facts = tuple(v.FactView(key, f"fact {key} holds") for key in ("pump", "rail", "air"))
    choices = (v.ChoiceView("i", "I state this", "state"), v.ChoiceView("l", "leave", "leave"))
    return v.PromptView(
        "8", "The fuel supply is isolated", "Look first.", choices, facts=facts, typed_word="isolated"
    )
