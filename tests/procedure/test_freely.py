"""Free drives on a box that keeps a log: every way within its limits, every train checked, ends obeyed."""

import contextlib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loomproof.box.errors import RequestRefused
from loomproof.facts.drive import HoldRequest, PulseTrain
from loomproof.job.file.loading import load_job
from loomproof.procedure.bench.ways import SETTINGS, Way, ways_of
from loomproof.procedure.events import DriveStarted, FreeDriveAdvanced, TraceTaken
from loomproof.procedure.session import Session
from loomproof.procedure.step_result import StepInterruptedError
from loomproof.safety.approve import NotPermittedError, OverBudgetError, approve, budget_problems
from loomproof.safety.statements import StatementKind, form_for
from loomproof_wire import messages as m
from tests.procedure.conftest import state_harmless

EXAMPLES = {
    path.stem: load_job(path) for path in sorted((Path(__file__).parents[2] / "examples").glob("*.toml"))
}
VALVE, INJECTOR, COIL = 3, 1, 2
TRAIN = {"count": 4.0, "frequency_hz": 5.0, "width_ms": 20.0}
SWEEP = {"from_hz": 2.0, "to_hz": 6.0, "trains": 5.0, "count": 2.0, "width_ms": 20.0}


@pytest.fixture
def session(job, box, make_person, notebook):
    made = Session(job, box, make_person(box), notebook)
    made.open()
    state_harmless(made)
    box.log.clear()
    return made


def on_example(name, box_of, make_person):
    job = EXAMPLES[name]
    box = box_of(channel_count=16)
    made = Session(job, box, make_person(box))
    made.open()
    for kind in StatementKind:
        form = form_for(kind, job.setting)
        made.state(kind, form.fact_keys, form.typed_word, "RB")
    box.log.clear()
    return made, box


def run(session, channel, way, values):
    plan = session.free.plan(channel, way, values)
    assert not plan.problems, plan.problems
    return session.free.run(plan)


def test_a_train_is_driven_as_typed(session, box):
    done = run(session, VALVE, Way.TRAIN, TRAIN)
    assert (done.pulses, done.reason, done.why) == (4, m.EndReason.COMPLETE, "")
    assert box.calls("drive") == [("drive", (VALVE,))]
    assert done.signature is not None


def test_a_hold_is_held_and_an_injector_never(session, box):
    assert run(session, VALVE, Way.HOLD, {"duration_ms": 300.0}).completed
    assert box.calls("hold") == [("hold", (VALVE,))]
    plan = session.free.plan(INJECTOR, Way.HOLD, {"duration_ms": 1.0})
    assert "nothing fits" in plan.problems[0].text
    assert not plan.problems[0].fuel_spent
    assert "never held" in session.free.ways(INJECTOR)[Way.HOLD]


def test_peak_and_hold_hands_the_box_its_peak_and_level(session, box):
    run(session, VALVE, Way.PEAK_HOLD, TRAIN | {"peak_ms": 8.0, "hold_percent": 25.0})
    (request,) = box.requests
    assert request.channel == VALVE
    assert request.train == PulseTrain(count=4, period_us=200_000, on_time_us=20_000)
    assert (request.chop.peak_us, request.chop.duty_permille) == (8_000, 250)
    assert 150 <= request.chop.period_us <= 1000


def test_a_sweep_is_a_sequence_of_trains_from_end_to_end(session, box):
    told = []
    session.subscribe(told.append)
    done = run(session, VALVE, Way.FREQUENCY_SWEEP, SWEEP)
    assert (done.trains, done.planned, done.pulses) == (5, 5, 10)
    started = [event for event in told if isinstance(event, DriveStarted)]
    assert [round(1e6 / event.train.period_us) for event in started] == [2, 3, 4, 5, 6]
    assert {event.train.on_time_us for event in started} == {20_000}
    assert [event.number for event in told if isinstance(event, FreeDriveAdvanced)] == [1, 2, 3, 4, 5]


def test_a_width_sweep_goes_down_as_well_as_up(session):
    told = []
    session.subscribe(told.append)
    values = {"from_ms": 40.0, "to_ms": 10.0, "trains": 4.0, "count": 1.0, "frequency_hz": 5.0}
    run(session, VALVE, Way.WIDTH_SWEEP, values)
    assert [e.train.on_time_us for e in told if isinstance(e, DriveStarted)] == [
        40_000,
        30_000,
        20_000,
        10_000,
    ]


def test_a_sweep_ends_between_any_two_trains(session, box):
    for after in range(1, 5):
        box.log.clear()
        seen = []
        box.on["drive"] = lambda _, seen=seen, after=after: (
            seen.append(1),
            session.free.end() if len(seen) == after else None,
        )
        done = run(session, VALVE, Way.FREQUENCY_SWEEP, SWEEP)
        assert len(box.calls("drive")) == after
        assert done.trains == after
        assert done.ending == "ended early"
        assert "between two trains" in done.why
    del box.on["drive"]
    assert run(session, VALVE, Way.FREQUENCY_SWEEP, SWEEP).trains == 5, "an old end does not end a new run"


def test_a_stop_ends_a_sweep_and_nothing_is_driven_after_it(session, box):
    seen = []
    box.on["drive"] = lambda _: (seen.append(1), session.request_stop("key") if len(seen) == 2 else None)
    with contextlib.suppress(
        RequestRefused
    ):  # the stopped train is told by its outcome or by a refusal; both end it
        run(session, VALVE, Way.FREQUENCY_SWEEP, SWEEP)
    assert len(box.calls("drive")) == 2
    assert session.stopped == "key"
    with pytest.raises(StepInterruptedError):
        session.free.run(session.free.plan(VALVE, Way.TRAIN, TRAIN))


def test_a_trip_ends_a_sweep_and_is_cleared_by_hand_only(session, box):
    seen = []
    box.on["drive"] = lambda _: (seen.append(1), box.tripped.add(VALVE) if len(seen) == 3 else None)
    done = run(session, VALVE, Way.FREQUENCY_SWEEP, SWEEP)
    assert (done.reason, done.trains, done.planned) == (m.EndReason.TRIPPED, 2, 5)
    assert "train 3 of 5" in done.why
    assert len(box.calls("drive")) == 3
    assert session.free.forget_trip(VALVE)
    assert not box.tripped
    assert not session.free.forget_trip(VALVE)


def test_a_refusal_of_the_box_within_a_sweep_is_told_and_ends_it(session, box):
    seen = []

    def refuse(_):
        seen.append(1)
        if len(seen) == 2:
            raise RequestRefused(m.DriveTrain.KIND, m.Refusal.OVER_DUTY, 900)

    box.on["drive"] = refuse
    done = run(session, VALVE, Way.FREQUENCY_SWEEP, SWEEP)
    assert done.trains == 1
    assert "train 2 of 5" in done.why
    assert done.ending == "ended early"


def test_nothing_is_driven_without_its_statement(session, box):
    plan = session.free.plan(COIL, Way.TRAIN, {"count": 1.0, "frequency_hz": 5.0, "width_ms": 0.4})
    assert not plan.problems
    with pytest.raises(NotPermittedError):
        session.free.run(plan)
    assert not box.calls("drive", "arm")


def test_a_plan_with_problems_is_not_run(session, box):
    plan = session.free.plan(VALVE, Way.TRAIN, TRAIN | {"width_ms": 5000.0})
    assert [problem.key for problem in plan.problems] == ["width_ms"]
    with pytest.raises(ValueError, match="at most"):
        session.free.run(plan)
    assert not box.calls("drive")


@pytest.mark.parametrize(
    ("change", "key", "word"),
    [
        ({"count": 1.5}, "count", "whole"),
        ({"count": 0.0}, "count", "at least 1"),
        ({"frequency_hz": 1e6}, "frequency_hz", "at most"),
        ({"frequency_hz": -1.0}, "frequency_hz", "at least"),
        ({"width_ms": 0.01}, "width_ms", "at least 0.05"),
        ({"count": 2000.0, "frequency_hz": 1.0}, "count", "at most"),
    ],
)
def test_each_setting_is_told_by_itself(session, change, key, word):
    plan = session.free.plan(VALVE, Way.TRAIN, TRAIN | change)
    assert key in [problem.key for problem in plan.problems]
    assert any(word in problem.text for problem in plan.problems if problem.key == key)


def test_a_missing_number_is_asked_for(session):
    plan = session.free.plan(VALVE, Way.TRAIN, {"count": 3.0, "width_ms": 20.0})
    assert [(p.key, p.text) for p in plan.problems] == [("frequency_hz", "write a number, like 10 or 2.5.")]


def test_the_fuel_of_a_sweep_is_shared_by_its_trains(session):
    form = form_for(StatementKind.FUEL_ISOLATED, session.job.setting)
    session.state(StatementKind.FUEL_ISOLATED, form.fact_keys, form.typed_word, "RB")
    values = {"from_hz": 1.0, "to_hz": 5.0, "trains": 10.0, "count": 3.0, "width_ms": 0.2}
    alone = session.free.plan(INJECTOR, Way.TRAIN, {"count": 3.0, "frequency_hz": 5.0, "width_ms": 0.2})
    assert not alone.problems
    plan = session.free.plan(INJECTOR, Way.FREQUENCY_SWEEP, values)
    assert [problem.key for problem in plan.problems] == ["count"]
    assert "shared by all trains" in plan.problems[0].text


def test_heat_left_by_earlier_drives_counts_and_leaves_with_time(session, box):
    hot = {"count": 20.0, "frequency_hz": 8.5, "width_ms": 100.0}
    first = session.free.plan(VALVE, Way.TRAIN, hot)
    assert first.cost.warm_k == 0.0
    session.free.run(first)
    second = session.free.plan(VALVE, Way.TRAIN, hot)
    assert second.cost.warm_k == pytest.approx(first.cost.after_k, rel=0.01)
    assert second.cost.after_k > first.cost.after_k
    model = session.budget(VALVE).model
    session._core.heat = session._core.heat.with_drive(VALVE, model, 40.0 * 79.5, box.now_s(), 0.0)
    told = session.free.plan(VALVE, Way.TRAIN, hot).problems
    assert any("left of earlier drives" in problem.text for problem in told)
    with pytest.raises(OverBudgetError):
        session.drive(VALVE, PulseTrain(count=20, period_us=118_000, on_time_us=100_000))
    box.clock_s += 3600.0
    assert not session.free.plan(VALVE, Way.TRAIN, hot).problems


def test_a_trace_is_told_while_the_drive_goes_on_and_only_once(session, box):
    told = []
    session.subscribe(told.append)
    run(session, VALVE, Way.TRAIN, TRAIN)
    kinds = [
        type(e).__name__ for e in told if type(e).__name__ in ("DriveStarted", "TraceTaken", "DriveFinished")
    ]
    assert kinds == ["DriveStarted", "TraceTaken", "DriveFinished"]
    assert box.heard is None


def test_the_band_of_a_chopped_pulse_ends_with_its_peak(session):
    told = []
    session.subscribe(told.append)
    run(session, VALVE, Way.PEAK_HOLD, TRAIN | {"peak_ms": 8.0, "hold_percent": 25.0})
    assert [e.band_until_s for e in told if isinstance(e, TraceTaken)] == [pytest.approx(8e-3)]


def test_a_free_drive_is_in_the_record(session, notebook):
    run(session, VALVE, Way.FREQUENCY_SWEEP, SWEEP)
    event = next(e for e in notebook.of("event") if e.kind.value == "free_drive")
    assert "5 trains of 2 pulses, 2 to 6 Hz, 20 ms each" in event.text
    assert event.facts["trains"] == 5


def test_a_stepper_steps_its_group_both_ways(box, make_person):
    session, box = on_example("bench-relays-lamps-stepper", type(box), make_person)
    for direction in (1.0, -1.0):
        run(session, 11, Way.STEPPER, {"steps": 24.0, "rate_hz": 50.0, "direction": direction})
    assert [(r.windings, r.steps, r.step_us) for r in box.requests] == [
        ((10, 11, 12, 13), 24, 20_000),
        ((10, 11, 12, 13), -24, 20_000),
    ]


def test_a_bridge_turns_both_ways_at_its_level(box, make_person):
    session, box = on_example("classroom-vee-six", type(box), make_person)
    for direction in (1.0, -1.0):
        run(session, 13, Way.BRIDGE, {"direction": direction, "level_percent": 20.0, "duration_ms": 150.0})
    sent = [(r.channel_supply, r.channel_ground, r.duration_ms, r.level_permille) for r in box.requests]
    assert sent == [(13, 14, 150, 200), (14, 13, 150, 200)]
    plan = session.free.plan(13, Way.BRIDGE, {"direction": 1.0, "level_percent": 80.0, "duration_ms": 150.0})
    assert [problem.key for problem in plan.problems] == ["level_percent"]
    assert list(session.free.ways(13)) == [Way.BRIDGE]


@pytest.mark.parametrize("name", EXAMPLES)
def test_what_every_way_begins_with_may_be_driven(box, make_person, name):
    session, _ = on_example(name, type(box), make_person)
    for entry in session.job.channels:
        if not entry.fitted:
            continue
        for way, why_not in ways_of(session.job, entry.channel).items():
            plan = session.free.plan(entry.channel, way, session.free.defaults(entry.channel, way))
            assert bool(plan.problems) == bool(why_not), (entry.channel, way, plan.problems)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_within_its_ranges_a_plan_passes_every_budget_and_just_above_none_does(box, make_person, data):
    """The ranges shown and the budgets that are enforced are written apart; they must agree."""
    name = data.draw(st.sampled_from(sorted(EXAMPLES)))
    session, _ = on_example(name, type(box), make_person)
    channel = data.draw(st.sampled_from([c.channel for c in session.job.channels if c.fitted]))
    way = data.draw(st.sampled_from([w for w, why in ways_of(session.job, channel).items() if not why]))
    values = dict(session.free.defaults(channel, way))
    for setting in data.draw(st.permutations(SETTINGS[way])):
        if setting.choices:
            continue
        limits = session.free.plan(channel, way, values).ranges[setting.key]
        share = data.draw(st.floats(0.0, 1.0))
        value = limits.low + share * (limits.high - limits.low)
        values[setting.key] = float(int(value)) if setting.whole else value
    plan = session.free.plan(channel, way, values)
    if not plan.problems:
        for request in plan.requests:
            assert not budget_problems(request, session._core.conditions)
    over = data.draw(st.sampled_from([s for s in SETTINGS[way] if not s.choices]))
    limit = plan.ranges[over.key].high
    above = values | {over.key: float(int(limit) + 1) if over.whole else limit * 1.01}
    assert session.free.plan(channel, way, above).problems


def test_a_hold_over_its_limit_is_over_budget_whoever_asks(session):
    request = HoldRequest(channel=INJECTOR, duration_ms=1)
    with pytest.raises(OverBudgetError, match="Hold it shorter"):
        approve(request, session._core.conditions)
