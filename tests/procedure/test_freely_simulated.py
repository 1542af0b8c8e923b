"""Free drives on the simulated box, in its own time: what the console allows, the box carries out."""

from pathlib import Path

import pytest

from loomproof.box.connect import connect
from loomproof.job.file.loading import load_job
from loomproof.procedure.bench.ways import Way
from loomproof.procedure.events import TraceTaken
from loomproof.procedure.prompts import Answer, Choice
from loomproof.procedure.session import Session
from loomproof.safety.statements import StatementKind, form_for
from loomproof_sim.named_boxes import forget
from loomproof_wire.messages import EndReason

EXAMPLES = Path(__file__).parents[2] / "examples"


class Nobody:
    name = "N. N."

    def answer(self, prompt):
        return Answer(Choice.LEAVE)

    def cancel(self):
        pass


@pytest.fixture
def opened():
    boxes = []

    def open_on(name, *faults):
        path = EXAMPLES / f"{name}.toml"
        query = "".join(f"&fault={fault}" for fault in faults)
        box = connect(f"sim://{path}?seed=4&clock=virtual&name=freely{query}", auto_call_in=True)
        boxes.append(box)
        session = Session(load_job(path), box, Nobody())
        session.open()
        for kind in StatementKind:
            form = form_for(kind, session.job.setting)
            session.state(kind, form.fact_keys, form.typed_word, "N. N.")
        return session

    yield open_on
    for box in boxes:
        box.close()
    forget("freely")


def run(session, channel, way, **changes):
    values = session.free.defaults(channel, way) | changes
    plan = session.free.plan(channel, way, values)
    assert not plan.problems, plan.problems
    return session.free.run(plan)


# Chopping costs the simulated plant milliseconds an edge: those ways are given less to do.
SHORT = {Way.PEAK_HOLD: {"count": 1.0, "width_ms": 5.0, "peak_ms": 2.0}, Way.BRIDGE: {"duration_ms": 15.0}}


@pytest.mark.parametrize(
    ("name", "channels"),
    [("bench-relays-lamps-stepper", (1, 10)), ("classroom-vee-six", (7, 13)), ("inline-five-turbo", (16,))],
)
def test_what_every_way_begins_with_is_carried_out_by_the_box_in_full(opened, name, channels):
    session = opened(name)
    for channel in channels:
        for way, why_not in session.free.ways(channel).items():
            if not why_not:
                done = run(session, channel, way, **SHORT.get(way, {}))
                assert done.completed, (channel, way, done.why)
                assert done.trains == done.planned


def test_an_injector_peaks_and_is_then_held_lower(opened):
    session = opened("classroom-vee-six")
    done = run(session, 1, Way.PEAK_HOLD, count=1.0, width_ms=2.8, peak_ms=1.2, hold_percent=20.0)
    trace = done.traces[0]
    peak = trace.current_a[(trace.time_s > 1.0e-3) & (trace.time_s < 1.2e-3)].max()
    held = trace.current_a[(trace.time_s > 2.4e-3) & (trace.time_s < 2.75e-3)].mean()
    assert held < 0.6 * peak


def test_a_longer_pulse_draws_more_in_a_width_sweep(opened):
    session = opened("inline-five-turbo")
    done = run(session, 11, Way.WIDTH_SWEEP, from_ms=1.0, to_ms=3.0, trains=3.0, count=1.0)
    peaks = [float(trace.current_a.max()) for trace in done.traces]
    assert [round(trace.on_time_s, 6) for trace in done.traces] == [1e-3, 2e-3, 3e-3]
    assert peaks == sorted(peaks)
    assert peaks[2] > 1.5 * peaks[0]


def test_a_long_train_shows_its_traces_while_it_goes_on(opened):
    session = opened("inline-five-turbo")
    told = []
    session.subscribe(lambda event: told.append((event, session._core.box.now_s())))
    began = session._core.box.now_s()
    run(session, 11, Way.TRAIN, count=10.0, frequency_hz=5.0, width_ms=20.0)
    at = [when - began for event, when in told if isinstance(event, TraceTaken)]
    assert len(at) == 5  # every second pulse of ten
    assert at[0] < 0.4
    assert at[-1] > 1.5


def test_a_shorted_load_trips_and_the_sweep_ends_there(opened):
    session = opened("inline-five-turbo", "short_across_load:11")
    values = session.free.defaults(11, Way.FREQUENCY_SWEEP)
    done = session.free.run(session.free.plan(11, Way.FREQUENCY_SWEEP, values))
    assert done.reason is EndReason.TRIPPED
    assert (done.trains, done.planned) == (0, 5)
    assert session.free.forget_trip(11)
    assert session._core.box.status().tripped_mask == 0


def test_a_cancel_of_the_box_ends_the_whole_run(opened):
    session = opened("inline-five-turbo")
    box = session._core.box

    def end(event):
        if isinstance(event, TraceTaken) and not ended:
            ended.append(1)
            session.free.end()
            box.cancel()

    ended = []
    session.subscribe(end)
    done = run(session, 11, Way.FREQUENCY_SWEEP, from_hz=2.0, to_hz=5.0, count=5.0)
    assert done.reason is EndReason.CANCELLED
    assert done.trains == 0
    assert done.pulses < 5
