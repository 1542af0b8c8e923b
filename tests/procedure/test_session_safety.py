"""The session drives nothing without a live statement, arms only around a drive, and obeys stops."""

import pytest

from loomproof.box.errors import LinkLost, RequestRefused
from loomproof.facts.drive import PulseTrain
from loomproof.facts.kinds import HazardClass
from loomproof.facts.step import StepEnd
from loomproof.procedure.prompts import Answer, Choice, PromptKind
from loomproof.procedure.session import Session
from loomproof.procedure.step_result import StepInterruptedError
from loomproof.safety.approve import NotPermittedError, OverBudgetError
from loomproof.safety.interlocks import Blocked, Permit, StatementRefusedError, Voider
from loomproof.safety.statements import StatementKind, form_for
from loomproof_wire import messages as m
from tests.procedure.conftest import rail_is_not_dry

DRIVES = ("drive", "peak_hold", "bridge", "stepper", "hold")


@pytest.fixture
def session(job, box, make_person, notebook):
    made = Session(job, box, make_person(box), notebook)
    made.open()
    return made


def with_person(job, box, person, **more):
    made = Session(job, box, person, **more)
    made.open()
    return made


def stated(session, *kinds):
    for kind in (StatementKind.LOOM_HARMLESS, *kinds):
        form = form_for(kind, session.job.setting)
        session.state(kind, form.fact_keys, form.typed_word, "RB")


def test_arming_surrounds_each_hazardous_drive_and_nothing_else(session, box):
    session.run_all()
    armed = set()
    for what, detail in box.log:
        if what == "arm":
            assert not armed
            armed.add(detail[0])
            assert 0 < detail[1] <= 60
        elif what == "disarm":
            armed.discard(detail)
        elif what in DRIVES:
            hazard = box.configs[detail[0]].hazard
            assert armed == ({hazard} if hazard is not m.Hazard.NONE else set())
        elif what in ("scan", "sense", "record"):
            assert not armed
    assert not armed
    assert {detail[0] for what, detail in box.log if what in DRIVES} == {1, 2, 3, 4}


def test_arming_lasts_no_longer_than_the_drive_and_a_margin(session, box):
    session.run_all()
    for index, (what, detail) in enumerate(box.log):
        if what == "arm":
            channel = next(d[0] for w, d in box.log[index:] if w in DRIVES)
            train = session.job.load_type(channel).train
            longest_s = max(train.count * train.period_us * 1e-6, 2.0)
            assert detail[1] <= longest_s + 1.0


def test_each_statement_is_recorded_before_it_is_acted_upon(session, box):
    session.run_all()
    seen = 0
    for what, detail in box.log:
        if (what, detail) == ("record", "statement"):
            seen += 1
        if what == "arm":
            assert seen >= 1
    assert seen >= 4


def test_every_step_is_recorded_before_anything_is_driven_in_it(session, box):
    session.run_all()
    began = False
    for what, detail in box.log:
        if what == "record" and detail == "began":
            began = True
        elif what == "record" and detail == "ended":
            began = False
        elif what in (*DRIVES, "sense", "scan"):
            assert began


def test_a_declined_statement_leaves_its_hazard_undriven(job, box, make_person):
    def reply(prompt):
        return Answer(Choice.SKIP) if prompt.statement.kind is StatementKind.FUEL_ISOLATED else None

    person = make_person(box, statement=reply)
    session = with_person(job, box, person)
    session.run_all()
    assert 1 not in {detail[0] for what, detail in box.log if what in DRIVES}
    assert session.outcome_of("drive-1").end is StepEnd.BLOCKED
    assert session.outcome_of("state-fuel-isolated").end is StepEnd.BLOCKED
    asked = [p for p in person.of(PromptKind.STATEMENT) if p.statement.kind is StatementKind.FUEL_ISOLATED]
    assert len(asked) == 1
    assert session.outcome_of("drive-2").end is StepEnd.DONE


def test_an_incomplete_statement_is_asked_again_and_then_given_up(job, box, make_person):
    def reply(prompt):
        return Answer(Choice.STATE, prompt.statement.fact_keys[:-1], prompt.statement.typed_word, "RB")

    person = make_person(box, statement=reply)
    session = with_person(job, box, person)
    outcome = session.run_step("drive-1")
    assert outcome.end is StepEnd.BLOCKED
    prompts = person.of(PromptKind.STATEMENT)
    assert len(prompts) == 3
    assert "not confirmed" in prompts[1].problem
    assert not box.calls("arm", *DRIVES)


def test_a_wrong_typed_word_does_not_count(job, box, make_person):
    person = make_person(box, statement=lambda p: Answer(Choice.STATE, p.statement.fact_keys, "", "RB"))
    session = with_person(job, box, person)
    assert session.run_step("drive-1").end is StepEnd.BLOCKED
    assert not box.calls("arm", *DRIVES)


def test_a_statement_that_expired_while_the_prompt_stood_is_asked_for_again(job, box, make_person):
    waits = [650.0]

    def ready(prompt):
        if waits and prompt.channel == 1:
            box.clock_s += waits.pop()
        return Answer(Choice.DRIVE)

    person = make_person(box, ready=ready)
    session = with_person(job, box, person)
    assert session.run_step("drive-1").end is StepEnd.DONE
    asked = [p for p in person.of(PromptKind.STATEMENT) if p.statement.kind is StatementKind.FUEL_ISOLATED]
    assert len(asked) == 2


def test_a_statement_about_to_expire_does_not_cover_a_long_drive(session, box):
    stated(session, StatementKind.MOTION_CLEAR, StatementKind.PUMP_UNPLUGGED)
    box.clock_s += 597.0
    with pytest.raises(NotPermittedError, match="expire"):
        session.drive(4, PulseTrain(count=3, period_us=1_000_000, on_time_us=80_000))
    assert not box.calls("arm", *DRIVES)


def test_a_stop_in_the_middle_of_a_drive_ends_the_step_and_voids_everything(job, box, make_person, notebook):
    person = make_person(box)
    session = Session(job, box, person, notebook)
    session.open()
    box.on["drive"] = lambda detail: session.request_stop("key") if detail == (2,) else None
    session.run_all()
    outcome = session.outcome_of("drive-2")
    assert outcome.end is StepEnd.STOPPED
    assert session.outcome_of("drive-1") is None
    assert session.interlocks.live(box.now_s()) == ()
    assert session.stopped == "key"
    assert person.cancelled
    assert "stop" in {event.kind.value for event in notebook.of("event")}
    session.clear_stop()
    assert session.stopped is None
    assert isinstance(session.permit(2), Blocked)
    del box.on["drive"]
    session.run_all()
    assert session.outcome_of("drive-2").end is StepEnd.DONE
    assert session.outcome_of("drive-2").attempt == 2


def test_a_stop_is_sent_before_anything_else(session, box):
    start = len(box.log)
    session.request_stop()
    assert box.log[start][0] == "stop"


def test_nothing_is_driven_or_stated_while_stopped(session, box):
    stated(session, StatementKind.SPARK_CLEAR)
    session.request_stop()
    with pytest.raises(StatementRefusedError):
        stated(session, StatementKind.SPARK_CLEAR)
    with pytest.raises(StepInterruptedError):
        session.drive(2, PulseTrain(count=1, period_us=200_000, on_time_us=500))
    assert session.run_step("drive-3").end is StepEnd.STOPPED
    assert not box.calls(*DRIVES)


def test_the_box_saying_that_it_stopped_voids_everything(session, box):
    stated(session, StatementKind.SPARK_CLEAR, StatementKind.MOTION_CLEAR)
    box.tell(m.Stopped(m.StopReason.HEARTBEAT))
    assert session.interlocks.live(box.now_s()) == ()
    assert "heartbeat" in session.stopped


def test_a_stop_for_want_of_supply_is_told_as_such(session, box):
    stated(session, StatementKind.SPARK_CLEAR)
    box.tell(m.Stopped(m.StopReason.SUPPLY))
    assert session.interlocks.voided_by[StatementKind.SPARK_CLEAR] is Voider.SUPPLY_LOST
    assert "supply" in session.stopped


@pytest.mark.parametrize(
    ("reason", "signal", "says"),
    [
        (m.StopReason.DRIVER_ON, "DANGER", "The driver of channel 3 conducts although it is switched off"),
        (m.StopReason.CURRENT_PATH, "WARNING", "cannot read the current of channel 3"),
    ],
)
@pytest.mark.parametrize("stopped_before", [False, True])
def test_a_fault_of_the_box_says_what_no_stop_can_do(session, box, reason, signal, says, stopped_before):
    stated(session, StatementKind.SPARK_CLEAR)
    if stopped_before:
        session.request_stop()
    box.tell(m.Trip(3, 700))
    box.tell(m.Stopped(reason))
    assert session.interlocks.live(box.now_s()) == ()
    assert session.stopped.startswith(f"{signal}: ")
    assert says in session.stopped
    assert "Remove the battery" in session.stopped


def test_supply_loss_voids_everything_without_stopping(session, box):
    stated(session, StatementKind.FUEL_ISOLATED, StatementKind.HEAT_WATCHED)
    box.tell(m.SupplyEvent(0, 300))
    assert session.interlocks.live(box.now_s()) == ()
    assert session.stopped is None


def test_a_lost_link_is_an_outcome_and_ends_the_run(session, box):
    def lose(_detail):
        raise LinkLost("fake", "unplugged")

    box.on["sense"] = lose
    ran = session.run_all()
    assert [o.end for o in ran] == [StepEnd.LINK_LOST]
    assert session.run_step("drive-3").end is StepEnd.LINK_LOST
    del box.on["sense"]
    session.reconnected()
    assert session.interlocks.live(box.now_s()) == ()
    assert session.run_step("look").end is StepEnd.DONE
    assert [made.kind for made in session.interlocks.live(box.now_s())] == [StatementKind.LOOM_HARMLESS]


def test_a_box_that_started_anew_is_a_lost_link(session, box):
    def forget(_detail):
        raise RequestRefused(m.Sense.KIND, m.Refusal.NO_SESSION)

    box.on["sense"] = forget
    ran = session.run_all()
    assert [o.end for o in ran] == [StepEnd.LINK_LOST]
    assert session.run_step("drive-3").end is StepEnd.LINK_LOST
    assert "started anew" in session.outcome_of("drive-3").problems[0]
    assert session.interlocks.live(box.now_s()) == ()


def test_a_link_lost_while_armed_is_still_an_outcome(session, box):
    def lose(_detail):
        raise LinkLost("fake", "unplugged")

    box.on["drive"] = lose
    box.on["disarm"] = lose
    assert session.run_step("drive-2").end is StepEnd.LINK_LOST
    assert session.interlocks.live(box.now_s()) == ()


@pytest.mark.parametrize(
    ("reason", "end"),
    [
        (m.Refusal.OVER_DUTY, StepEnd.REFUSED),
        (m.Refusal.NOT_ARMED, StepEnd.BLOCKED),
        (m.Refusal.SUPPLY_OUT_OF_RANGE, StepEnd.SUPPLY_LOST),
        (m.Refusal.STOP_INPUT_OPEN, StepEnd.STOPPED),
        (m.Refusal.NO_HEARTBEAT, StepEnd.REFUSED),
    ],
)
def test_a_refusal_is_an_outcome_with_its_reason(session, box, reason, end):
    def refuse(_detail):
        raise RequestRefused(m.DriveTrain.KIND, reason)

    box.on["drive"] = refuse
    outcome = session.run_step("drive-3")
    assert outcome.end is end
    assert outcome.problems
    assert not box.armed


def test_a_trip_is_an_outcome_and_a_repeat_forgets_it(session, box):
    box.tripped.add(3)
    kept = box.configure
    box.configure = lambda c: None if c.channel == 3 and len(box.calls("drive")) == 0 else kept(c)
    outcome = session.run_step("drive-3")
    assert outcome.end is StepEnd.TRIPPED
    assert session.evidence.of(3).tripped
    box.configure = kept
    assert session.run_step("drive-3").end is StepEnd.DONE
    assert not box.tripped
    assert not session.evidence.of(3).tripped


def test_the_pump_voids_the_isolation(session):
    stated(session, StatementKind.FUEL_ISOLATED, StatementKind.MOTION_CLEAR, StatementKind.PUMP_UNPLUGGED)
    assert isinstance(session.permit(1), Permit)
    session.drive(4, PulseTrain(count=1, period_us=1_000_000, on_time_us=80_000))
    assert isinstance(session.permit(1), Blocked)
    assert session.permit(1).needs == (StatementKind.FUEL_ISOLATED,)


def test_spark_after_fuel_asks_that_the_cylinders_are_aired(session):
    stated(session, StatementKind.FUEL_ISOLATED, StatementKind.SPARK_CLEAR)
    assert isinstance(session.permit(2), Permit)
    session.drive(1, PulseTrain(count=1, period_us=200_000, on_time_us=1000))
    assert set(session.permit(2).needs) == {StatementKind.CYLINDERS_AIRED, StatementKind.SPARK_CLEAR}


def test_an_injector_is_not_driven_twice_without_looking_at_the_fuel_again(job, box, make_person):
    person = make_person(box, statement=rail_is_not_dry)
    session = with_person(job, box, person)
    session.run_step("drive-1")
    session.run_step("drive-1")
    asked = [p for p in person.of(PromptKind.STATEMENT) if p.statement.kind is StatementKind.FUEL_ISOLATED]
    assert len(asked) == 2
    assert session.outcome_of("drive-1").end is StepEnd.DONE


def test_free_drives_of_an_injector_add_up(session):
    stated(session, StatementKind.FUEL_ISOLATED)
    longest = session.budget(1).max_on_time_us
    session.drive(1, PulseTrain(count=1, period_us=200_000, on_time_us=longest - 100))
    with pytest.raises(OverBudgetError, match="flammable"):
        session.drive(1, PulseTrain(count=1, period_us=200_000, on_time_us=1000))
    stated(session, StatementKind.FUEL_ISOLATED)
    session.drive(1, PulseTrain(count=1, period_us=200_000, on_time_us=1000))


def test_free_drive_needs_statement_and_budget(session, box):
    with pytest.raises(NotPermittedError) as blocked:
        session.drive(2, PulseTrain(count=1, period_us=200_000, on_time_us=500))
    assert blocked.value.blocked.needs == (StatementKind.LOOM_HARMLESS, StatementKind.SPARK_CLEAR)
    stated(session, StatementKind.SPARK_CLEAR)
    with pytest.raises(OverBudgetError, match="over the limit"):
        session.drive(2, PulseTrain(count=1, period_us=200_000, on_time_us=5000))
    assert not box.calls("arm", *DRIVES)
    done = session.drive(2, PulseTrain(count=2, period_us=200_000, on_time_us=500))
    assert (done.pulses, done.reason) == (2, m.EndReason.COMPLETE)
    assert done.signature is not None
    assert not box.armed


def test_a_channel_that_reaches_an_injector_needs_its_isolation(job, box, make_person):
    """The purge valve's channel turns out to reach the injector: it is driven as an injector."""
    box.wiring = {3: 1, 1: 3}
    person = make_person(box)
    session = with_person(job, box, person)
    outcome = session.run_step("pull-1")
    assert outcome.pull.outcome == "other"
    assert outcome.pull.moved_channels == (3,)
    assert session.permit(3).needs == (StatementKind.LOOM_HARMLESS, StatementKind.FUEL_ISOLATED)
    stated(session, StatementKind.FUEL_ISOLATED)
    with pytest.raises(OverBudgetError, match="flammable"):
        session.drive(3, PulseTrain(count=10, period_us=200_000, on_time_us=60_000))
    session.drive(3, PulseTrain(count=1, period_us=200_000, on_time_us=1000))
    assert session.interlocks.fuel_driven


def test_a_supply_that_rose_lowers_the_budget(session, box):
    before = session.budget(2).max_on_time_us
    box.supply_v = 15.5
    stated(session, StatementKind.SPARK_CLEAR)
    with pytest.raises(OverBudgetError):
        session.drive(2, PulseTrain(count=1, period_us=200_000, on_time_us=before))
    assert session.budget(2).max_on_time_us < before


def test_a_stop_input_found_latched_is_told(job, box, make_person):
    box.stopped = True
    session = with_person(job, box, make_person(box))
    assert "stopped" in session.stopped
    assert session.run_step("look").end is StepEnd.STOPPED


def test_withdrawing_blocks_at_once(session):
    stated(session, StatementKind.SPARK_CLEAR)
    session.withdraw(StatementKind.SPARK_CLEAR)
    assert isinstance(session.permit(2), Blocked)
    assert session.permit(2).hazard is HazardClass.SPARK
