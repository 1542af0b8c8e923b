# ruff: noqa: E501 - tables of cases read best one a line
"""Pictures of every page at both sizes. Look at a changed one before accepting it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from textual.widgets import Input

from loomproof.tui.messages import PanelChanged, Progressed, PromptRaised
from loomproof.tui.pages.findings.view import FindingEntry
from loomproof.tui.pages.record.view import RecordLine, RecordView
from loomproof.tui.views.prompt import CautionView, ChoiceView, FactView, PromptView

SIZES = [(80, 24), (120, 36)]
NAMES = {"1": "sheet", "2": "loom", "3": "bench", "4": "findings", "5": "record", "6": "hands"}

FINDING = FindingEntry(
    "swapped", "Injector 1 and injector 2 are swapped at the header.", "97%", "H1-1 H1-2",
    ("pulling cylinder 1's connector opened channel 2",), (), "Exchange the terminals in H1-1 and H1-2.", "Repeat both pull checks.",
)  # fmt: skip
RECORD = RecordView(
    "sqlite:///records.sqlite", "LP-0005-a1",
    (
        RecordLine("10:12:03", "record", "begun: LP-0005-a1"),
        RecordLine("10:12:09", "step", "Boost valve: 5 pulses of 20 ms at 5 Hz; 24.8 Ω ± 0.2 Ω", "pass"),
        RecordLine("10:12:40", "stop", "the stop key"),
    ),
)  # fmt: skip


PULL_PROMPT = PromptView(
    "9", "Pull the connector: cylinder 3", "Pull that connector now. The box sees by itself when it is off.",
    (ChoiceView("p", "it is pulled", "pulled"), ChoiceView("k", "skip this step", "skip", needs_reason=True)),
    channel=3, short="Pull cylinder 3",
)  # fmt: skip


@pytest.fixture(autouse=True)
def still(monkeypatch):
    """No blinking cursor and no motion: a picture must not depend on the moment it is taken."""
    monkeypatch.setattr(Input, "cursor_blink", False)
    monkeypatch.setenv("TEXTUAL_ANIMATIONS", "none")


def settle(console, desk, *more):
    async def run_before(pilot):
        for _ in range(100):  # what is said to a desk that has not begun is heard by nobody
            if desk.begun:
                break
            await pilot.pause(0.02)
        assert desk.begun
        desk.post(Progressed(replace(desk.progress, findings=(FINDING,), record=RECORD)))
        for message in more:
            desk.post(message)
        await pilot.pause()
        await pilot.pause()

    return run_before


@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
@pytest.mark.parametrize("key", NAMES, ids=NAMES.get)
def test_page(snap_compare, console, desk, key, size):
    async def run_before(pilot):
        await settle(console, desk)(pilot)
        await pilot.press(key)
        await pilot.pause()
        await pilot.pause()

    assert snap_compare(console, terminal_size=size, run_before=run_before)


QUESTION = PromptView(
    "7", "Injector, cylinder 3", "Did you hear it click?",
    (ChoiceView("h", "heard it", "heard"), ChoiceView("s", "saw it", "seen"), ChoiceView("n", "noticed nothing", "nothing")),
)  # fmt: skip
STATEMENT = PromptView(
    "8", "The fuel supply is isolated", "Confirm each fact after you have checked it with your own eyes.",
    (ChoiceView("i", "I state this", "state"), ChoiceView("l", "leave it here", "leave")),
    (CautionView("DANGER", "An injector on a fuelled rail floods the cylinder; vapour explodes."),),
    (
        FactView("pump", "the fuel pump cannot run: its fuse, relay or connector is out"),
        FactView("rail", "the rail pressure is relieved"),
        FactView("air", "there is no liquid fuel and no smell of fuel about"),
    ),
    "isolated",
)  # fmt: skip


@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
@pytest.mark.parametrize("prompt", [QUESTION, STATEMENT], ids=["question", "statement"])
def test_prompt(snap_compare, console, desk, prompt, size):
    run_before = settle(console, desk, PromptRaised(prompt))
    assert snap_compare(console, terminal_size=size, run_before=run_before)


@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
def test_stopped(snap_compare, console, desk, size):
    async def run_before(pilot):
        await settle(console, desk)(pilot)
        desk.post(
            PanelChanged(
                replace(console.panel, stopped=True, stop_reason="stop key", state="stopped", armed=())
            )
        )
        await pilot.pause()
        await pilot.pause()

    assert snap_compare(console, terminal_size=size, run_before=run_before)


@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
def test_help(snap_compare, console, desk, size):
    assert snap_compare(console, terminal_size=size, press=["f1"], run_before=settle(console, desk))


@pytest.fixture(params=["colours", "no-colours"])
def colours(request, monkeypatch) -> str:
    """Named before `console` in a test, so that the application starts in that terminal."""
    if request.param == "no-colours":
        monkeypatch.setenv("NO_COLOR", "1")
    return request.param


@pytest.fixture
def monochrome(monkeypatch) -> None:
    """Named before `console`, as above."""
    monkeypatch.setenv("NO_COLOR", "1")


@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
def test_header_mirrored(colours, snap_compare, console, desk, size):
    async def run_before(pilot):
        await settle(console, desk)(pilot)
        await pilot.press("2", "home", "down", "m")
        await pilot.pause()
        await pilot.pause()
        assert console.no_color is (colours == "no-colours")

    assert snap_compare(console, terminal_size=size, run_before=run_before)


@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
def test_large_text(snap_compare, console, desk, size):
    async def run_before(pilot):
        await pilot.press("ctrl+l")
        await settle(console, desk, PromptRaised(PULL_PROMPT))(pilot)
        await pilot.pause()

    assert snap_compare(console, terminal_size=size, run_before=run_before)


BENCH_STATES = {
    "wrong": ["3", "tab", "tab", "tab", "end", "0"],
    "stepper": ["3", "end", "w", "r", "tab"],
    "cursors": ["3", "c", "right", "right", "c"],
    "tripped": ["3", "down"],
    "coil": ["3", *["down"] * 5, "d"],
}


@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
@pytest.mark.parametrize("state", BENCH_STATES)
def test_bench(snap_compare, console, desk, state, size):
    if state == "tripped":
        desk.box_blocks = (
            (
                "The channel tripped on over-current.",
                "Find and mend the short; then press u, which clears the trip.",
            ),
        )

    async def run_before(pilot):
        await settle(console, desk)(pilot)
        await pilot.press(*BENCH_STATES[state])
        await pilot.pause()
        await pilot.pause()

    assert snap_compare(console, terminal_size=size, run_before=run_before)


@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
def test_bench_without_colours(monochrome, snap_compare, console, desk, size):
    async def run_before(pilot):
        await settle(console, desk)(pilot)
        await pilot.press("3", "c")
        await pilot.pause()
        await pilot.pause()

    assert snap_compare(console, terminal_size=size, run_before=run_before)
