"""The real desk: operator, panel, translation, and a run over a simulated box in real time."""

import threading

import pytest

from loomproof.box.connect import connect
from loomproof.box.errors import LinkDown
from loomproof.cli.console.practice import DEMO_FAULTS, DemoHands, demo_job, sim_url
from loomproof.facts.estimate import Estimate
from loomproof.job.file.loading import load_job
from loomproof.procedure.prompts import Answer, Choice, Prompt, PromptKind
from loomproof.procedure.session import Session
from loomproof.tui.app import Console
from loomproof.tui.desk.channels import channel_views, with_uncertainty
from loomproof.tui.desk.engine import engine_view
from loomproof.tui.desk.operator import TuiOperator
from loomproof.tui.desk.panel import SILENT_S, PanelKeeper
from loomproof.tui.desk.prompts import CHOICE_KEYS, prompt_view
from loomproof.tui.desk.protocol import Reply, TypedDrive
from loomproof.tui.desk.session_desk import SessionDesk
from loomproof.tui.views.panel import LinkState
from loomproof.tui.words import Live
from loomproof_sim.named_boxes import forget
from loomproof_wire import messages

PROMPT = Prompt(3, PromptKind.NOTICED, "drive-1", "Drive", "What?", (Choice.HEARD, Choice.SKIP, Choice.LEAVE))


def answered_in_thread(operator: TuiOperator) -> tuple[threading.Thread, list[Answer]]:
    got: list[Answer] = []
    thread = threading.Thread(target=lambda: got.append(operator.answer(PROMPT)))
    thread.start()
    return thread, got


def test_an_answer_to_another_question_is_not_taken():
    operator = TuiOperator("N. N.", lambda prompt: None)
    thread, got = answered_in_thread(operator)
    operator.give(2, Answer(Choice.SKIP))
    operator.give(3, Answer(Choice.HEARD))
    thread.join(5)
    assert got == [Answer(Choice.HEARD)]


def test_cancel_ends_a_waiting_question_with_leave():
    shown = []
    ready = threading.Event()

    def show(prompt):
        shown.append(prompt)
        ready.set()

    operator = TuiOperator("N. N.", show)
    thread, got = answered_in_thread(operator)
    assert ready.wait(5)
    operator.cancel()
    thread.join(5)
    assert got == [Answer(Choice.LEAVE)]
    assert shown == [PROMPT, None]


def test_polling_never_waits_and_closing_leaves():
    operator = TuiOperator("N. N.", lambda prompt: None)
    assert operator.poll(PROMPT) is None
    operator.give(3, Answer(Choice.PULLED, who="M. M."))
    assert operator.poll(PROMPT) == Answer(Choice.PULLED, who="M. M.")
    assert operator.name == "M. M."
    operator.close()
    assert operator.answer(PROMPT) == Answer(Choice.LEAVE)


def telemetry(**changes) -> messages.Telemetry:
    fields = {
        "uptime_ms": 1, "state": messages.BoxState.IDLE, "stop_reason": messages.StopReason.NONE, "stop_input_open": 0,
        "supply_mv": 13500, "board_temperature_dc": 250, "driving_channel": 0, "tripped_mask": 0, "armed_mask": 0,
        "armed_left_ms": (0, 0, 0, 0, 0), "free_traces": 4, "bad_frames": 0, "stale_frames": 0, "overruns": 0,
    }  # fmt: skip
    return messages.Telemetry(**(fields | changes))


def test_telemetry_becomes_the_panel():
    keeper = PanelKeeper()
    driving = telemetry(
        state=messages.BoxState.DRIVING,
        driving_channel=3,
        tripped_mask=0b1000_0000,
        armed_left_ms=(0, 2500, 0, 0, 0),
    )
    assert keeper.take(driving, 0.0, None)
    view = keeper.view()
    assert (view.link, view.supply_v, view.driving_channel, view.tripped) == (LinkState.LIVE, 13.5, 3, (8,))
    assert [(a.hazard, a.left_s) for a in view.armed if a.left_s] == [("spark", 2.5)]
    assert dict(keeper.live()) == {8: Live.TRIPPED, 3: Live.DRIVEN}


def test_a_silent_or_pulled_box_counts_as_lost_and_as_disarmed():
    now = [0.0]
    keeper = PanelKeeper(lambda: now[0])
    keeper.take(telemetry(armed_left_ms=(9000, 0, 0, 0, 0)), 0.0, None)
    assert not keeper.fell_silent()
    now[0] = SILENT_S
    assert keeper.fell_silent()
    assert keeper.view().link is LinkState.LOST
    assert keeper.view().armed == ()
    assert not keeper.fell_silent(), "told once"
    keeper.take(telemetry(), 0.0, None)
    assert keeper.take(LinkDown("unplugged"), 0.0, None)
    assert keeper.view().link is LinkState.LOST
    assert keeper.blocks(1)


@pytest.mark.parametrize(
    ("estimate", "text"),
    [
        (Estimate(14.123, 0.04), "14.123 ± 0.080 Ω"),
        (Estimate(98.4, 0.9), "98.4 ± 1.8 Ω"),
        (Estimate(120.0, 12.0), "120 ± 24 Ω"),
    ],
)
def test_uncertainty_is_expanded_and_rounded_to_two_figures(estimate, text):
    # JCGM 100:2008 (GUM), 7.2.6: at most two significant figures for an uncertainty; k = 2 as in 6.3.
    assert with_uncertainty(estimate, 1.0, "Ω") == text


def test_every_choice_has_a_key_and_no_prompt_offers_one_twice():
    assert set(CHOICE_KEYS) == set(Choice)
    noticing = (
        Choice.HEARD,
        Choice.SEEN,
        Choice.NOTHING,
        Choice.AGAIN,
        Choice.NOT_ASKED,
        Choice.SKIP,
        Choice.LEAVE,
    )
    for choices in (
        noticing,
        (Choice.DRIVE, Choice.SKIP, Choice.LEAVE),
        (Choice.PULLED, Choice.SKIP, Choice.LEAVE),
    ):
        keys = [CHOICE_KEYS[choice] for choice in choices]
        assert len(set(keys)) == len(keys)
    assert prompt_view(PROMPT).choices[1].needs_reason


def test_the_engine_is_drawn_as_the_job_says():
    job = load_job(demo_job())
    engine = engine_view(job, channel_views(job, live={3: Live.DRIVEN}))
    assert [c.number for c in engine.cylinders] == [1, 2, 3, 4, 5]
    assert [c.place for c in engine.cylinders] == [0, 1, 2, 3, 4]
    assert [c.number for c in engine.cylinders if c.live] == [3]
    assert engine.firing_order == (1, 2, 4, 5, 3)
    assert {mark for mark, _ in engine.cylinders[0].marks} == {"I", "S"}


def train(channel: int, count: int, frequency_hz: float, width_ms: float) -> TypedDrive:
    values = (("count", count), ("frequency_hz", frequency_hz), ("width_ms", width_ms))
    return TypedDrive(channel, "train", values)


def demo() -> tuple[Console, SessionDesk]:
    path = demo_job()
    job = load_job(path)
    url = sim_url(path, 5, DEMO_FAULTS)
    desk = SessionDesk(
        job, lambda: connect(url, auto_call_in=True), lambda box, who: Session(job, box, who), who="N. N."
    )
    return Console(desk, hands=DemoHands()), desk


class TooBusyError(Exception):
    """The machine could not keep a box alive in real time; that is not what is tested here."""


async def until(pilot, condition, what):
    for _ in range(300):
        if condition() and "heartbeat" not in pilot.app.drive_said:
            return
        if pilot.app.panel.stop_reason == "console fell silent" or "heartbeat" in pilot.app.drive_said:
            raise TooBusyError
        await pilot.pause(0.05)
    pytest.fail(f"waited in vain for {what}; prompt {pilot.app.prompt}; panel {pilot.app.panel}")


async def test_look_pull_check_free_drive_and_stop_on_a_simulated_box():
    for attempt in range(3):
        console, desk = demo()
        try:
            await look_pull_drive_and_stop(console, desk)
        except TooBusyError:
            if attempt == 2:
                raise
        else:
            return
        finally:
            desk.close()
            forget("demo")


async def look_pull_drive_and_stop(console, desk):
    async with console.run_test(size=(120, 36)) as pilot:
        await until(pilot, lambda: console.progress.steps and console.panel.state == "idle", "the box")
        await pilot.press("g")
        await until(pilot, lambda: console.prompt is not None, "the question")
        await pilot.press("g")
        await until(
            pilot, lambda: console.prompt and console.prompt.facts, "the statement before the first pulse"
        )
        reply = Reply(
            "state", tuple(fact.key for fact in console.prompt.facts), console.prompt.typed_word, "RB"
        )
        desk.answer(console.prompt, reply)
        await until(pilot, lambda: not console.progress.running, "the end of the look")
        desk.run_step("pull-1")
        await until(pilot, lambda: console.prompt and "Pull" in console.prompt.title, "the pull check")
        console.hands.pull(1)
        await until(
            pilot, lambda: console.prompt and "Seat" in console.prompt.title, "the box to see the pull"
        )
        console.hands.seat(1)
        await until(pilot, lambda: not console.progress.running, "the end of the pull check")
        pulled = next(step for step in console.progress.steps if step.id == "pull-1")
        assert pulled.state == "fail", "injectors 1 and 2 are swapped in the demo"

        desk.drive(train(1, 1, 5.0, 1.0))
        await until(pilot, lambda: console.drive_said, "the refusal")
        assert "Nobody has stated" in console.drive_said
        console.drive_said = ""
        desk.drive(train(11, 2, 5.0, 60.0))
        await until(pilot, lambda: console.drive_said.startswith("✓"), "the drive")
        assert console.trace.channel == 11
        read = desk.readings(11, 0.0, 60e-3)
        assert [name for name, _ in read.rows] == ["A", "B", "B-A", "slope", "charge", "energy"]
        console.drive_said = ""
        sweep = desk.bench(11, "frequency sweep", {"trains": "3", "count": "1"})
        desk.drive(TypedDrive(11, sweep.way, sweep.values))
        await until(pilot, lambda: "3 of 3 trains" in console.drive_said, "the sweep")
        assert console.trace.band is not None

        desk.unblock(1)
        await until(pilot, lambda: console.prompt is not None, "the statement")
        prompt = console.prompt
        desk.answer(
            prompt, Reply("state", tuple(fact.key for fact in prompt.facts), prompt.typed_word, "N. N.")
        )
        await until(pilot, lambda: console.panel.isolation_left_s is not None, "the isolation")
        await pilot.press("escape", "ctrl+x")
        await until(pilot, lambda: console.panel.stopped, "the stop")
        assert console.panel.isolation_left_s is None
        await until(pilot, lambda: desk.bench(1, "", {}).blocks, "the blocks")
        await pilot.press("ctrl+r")
        await until(pilot, lambda: not console.panel.stopped, "the stop cleared")
        assert [line.what for line in console.progress.record.lines].count("statement") >= 2
