"""A session from opening to closing: configuration, outcomes, repeats, skips, resume, the record."""

import json
import threading

import pytest

from loomproof.box.errors import ConfigurationMismatch
from loomproof.facts.evidence import Noticed
from loomproof.facts.kinds import HazardClass
from loomproof.facts.step import StepEnd, StepKind
from loomproof.facts.verdict import Property, Verdict, channel_verdict
from loomproof.procedure.configure import WrongBoxError
from loomproof.procedure.events import DriveStarted, JudgedAnew, StepFinished, StepStarted
from loomproof.procedure.prompts import Answer, Choice, PromptKind
from loomproof.procedure.session import Session
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.procedure.steps.wiggle import WATCHES
from loomproof.safety.budget import pulse_budget
from loomproof.safety.statements import StatementKind
from loomproof_wire import messages as m
from tests.procedure.conftest import rail_is_not_dry


@pytest.fixture
def session(job, box, make_person, notebook):
    made = Session(job, box, make_person(box), notebook)
    made.open()
    return made


def test_the_box_is_configured_from_the_job_and_checked_before_the_first_step(session, box, job):
    names = [what for what, _ in box.log]
    assert names[:5] == ["configure"] * 4 + ["verify"]
    injector, coil, valve, pump = (box.configs[c] for c in (1, 2, 3, 4))
    assert (injector.load_class, injector.hazard) == (m.LoadClass.INJECTOR, m.Hazard.FUEL)
    assert (coil.load_class, coil.hazard) == (m.LoadClass.COIL, m.Hazard.SPARK)
    assert (valve.load_class, valve.hazard, valve.fuel_pump) == (m.LoadClass.VALVE, m.Hazard.NONE, 0)
    assert (pump.load_class, pump.hazard, pump.fuel_pump) == (m.LoadClass.RELAY, m.Hazard.MOTION, 1)
    for channel, config in box.configs.items():
        budget = pulse_budget(job, channel, box.supply_v, rail_dry=True)
        assert config.max_on_time_us == budget.max_on_time_us
        assert config.max_duty_permille == budget.max_duty_permille
        assert config.max_sense_us == budget.max_sense_us


def test_a_box_that_holds_something_else_is_not_worked_with(job, box, make_person):
    def differ(_detail):
        raise ConfigurationMismatch([2])

    box.on["verify"] = differ
    with pytest.raises(ConfigurationMismatch):
        Session(job, box, make_person(box)).open()


def test_a_box_with_too_few_channels_is_told(job, make_person, box):
    del box.channels[3], box.channels[4]
    with pytest.raises(WrongBoxError, match="3, 4"):
        Session(job, box, make_person(box)).open()


def test_the_whole_sheet_is_worked_and_recorded(session, notebook, box):
    ran = session.run_all()
    assert [o.step_id for o in ran] == [s.id for s in session.sheet.steps]
    assert all(o.end is StepEnd.DONE for o in ran), [(o.step_id, o.end, o.problems) for o in ran]
    assert session.next_step() is None
    verdict = session.close()
    kinds = [kind for kind, _ in notebook.entries]
    assert kinds[0] == "begin"
    assert kinds.count("began") == kinds.count("ended") == len(ran)
    assert kinds[-1] == "finish"
    assert notebook.of("finish") == [verdict.value]
    driven = {o.step_id: traces for o, traces in notebook.of("ended")}
    assert driven["drive-1"][0].purpose == "drive"
    assert {t.purpose for t in driven["look"]} == {"sense"}
    assert session.evidence.of(1).noticed is Noticed.HEARD
    assert session.evidence.of(1).signature.resistance_ohm.value == pytest.approx(14.3, rel=0.03)


def test_outcomes_are_plain_json_and_come_back_the_same(session):
    for outcome in session.run_all():
        text = json.dumps(outcome.model_dump(mode="json"), allow_nan=False)
        assert StepOutcome.model_validate(json.loads(text)) == outcome


def test_a_session_carries_on_from_outcomes(session, job, box, make_person):
    session.run_all()
    kept = session.outcomes[:-4]
    later = Session(job, box, make_person(box), outcomes=kept)
    later.open()
    assert later.next_step().id == session.sheet.steps[-4].id
    assert later.interlocks.live(box.now_s()) == ()
    assert [o.step_id for o in later.run_all()] == [s.id for s in session.sheet.steps[-4:]]
    assert later.evidence.of(2) == session.evidence.of(2)


def test_fuel_driven_in_an_earlier_session_is_not_forgotten(session, job, box, make_person):
    session.run_step("drive-1")
    later = Session(job, box, make_person(box), outcomes=session.outcomes)
    later.open()
    assert StatementKind.CYLINDERS_AIRED in later.permit(2).needs


def test_repeating_counts_attempts_and_the_newest_counts(session, box):
    assert session.run_step("drive-3").attempt == 1
    box.pulled.add(3)
    again = session.run_step("drive-3")
    assert again.attempt == 2
    assert session.evidence.of(3).signature.resistance_ohm is None
    box.pulled.clear()
    assert session.run_step("drive-3").attempt == 3
    assert session.evidence.of(3).signature.resistance_ohm.value == pytest.approx(22.1, rel=0.05)


def test_skipping_needs_a_reason(session):
    with pytest.raises(ValueError, match="reason"):
        session.skip_step("drive-3", "  ")
    outcome = session.skip_step("drive-3", "valve not delivered yet")
    assert (outcome.end, outcome.skipped_reason) == (StepEnd.SKIPPED, "valve not delivered yet")
    assert outcome.verdict is Verdict.NOT_TESTED


@pytest.mark.parametrize("step_id", ["look", "drive-3", "pull-3", "wiggle-3"])
def test_a_step_can_be_skipped_at_its_prompt(job, box, make_person, step_id):
    skip = Answer(Choice.SKIP, note="no time")
    person = make_person(None, ready=skip, pull=skip, wiggle=skip)
    session = Session(job, box, person)
    session.open()
    outcome = session.run_step(step_id)
    assert (outcome.end, outcome.skipped_reason) == (StepEnd.SKIPPED, "no time")
    assert not box.calls("drive")


@pytest.mark.parametrize("step_id", ["look", "drive-3", "pull-3"])
def test_the_sheet_can_be_left_at_any_prompt_and_taken_up_again(job, box, make_person, step_id):
    leave = Answer(Choice.LEAVE)
    person = make_person(None, ready=leave, pull=leave)
    session = Session(job, box, person)
    session.open()
    assert session.run_step(step_id).end is StepEnd.LEFT
    assert session.run_all()[-1].end is StepEnd.LEFT
    session._core.operator = make_person(box)
    assert session.run_all()[-1].kind is StepKind.SUMMARY


@pytest.mark.parametrize(
    ("choice", "noticed"),
    [
        (Choice.HEARD, "heard"),
        (Choice.SEEN, "seen"),
        (Choice.NOTHING, "nothing"),
        (Choice.NOT_ASKED, "not asked"),
    ],
)
def test_what_was_noticed_is_kept(job, box, make_person, choice, noticed):
    session = Session(job, box, make_person(box, noticed=Answer(choice)))
    session.open()
    outcome = session.run_step("drive-3")
    assert outcome.noticed == noticed
    assert session.evidence.of(3).noticed == noticed


def test_again_drives_again_and_asks_again(job, box, make_person):
    answers = iter([Answer(Choice.AGAIN), Answer(Choice.AGAIN), *(2 * [Answer(Choice.HEARD)])])
    session = Session(job, box, make_person(box, noticed=lambda _p: next(answers)))
    session.open()
    outcome = session.run_step("drive-3")
    assert outcome.noticed is Noticed.HEARD
    assert (
        len(box.calls("drive")) == 5
    )  # measured, for the ears, twice again, and once because current and ears differ


def test_an_answer_that_the_current_contradicts_is_asked_for_once_more(job, box, make_person):
    """The scripted valve shows no dip: heard by mistake first, and the second answer stands, whatever it is."""
    answers = iter([Answer(Choice.HEARD), Answer(Choice.NOTHING)])
    session = Session(job, box, make_person(box, noticed=lambda _p: next(answers)))
    session.open()
    assert session.run_step("drive-3").noticed is Noticed.NOTHING
    assert len(box.calls("drive")) == 3


def test_a_pull_that_the_box_does_not_see_is_none(job, box, make_person):
    person = make_person(None, pull=Answer(Choice.PULLED))
    session = Session(job, box, person)
    session.open()
    outcome = session.run_step("pull-3")
    assert outcome.pull.outcome == "none"
    assert outcome.end is StepEnd.DONE
    assert [p.kind for p in person.prompts] == [PromptKind.PULL, PromptKind.SEAT]


def test_a_connector_that_was_not_seated_again_is_told(job, box, make_person):
    class Forgetful(make_person):
        def show(self, prompt):
            if prompt.kind is PromptKind.PULL:
                super().show(prompt)

    session = Session(job, box, Forgetful(box, seat=Answer(Choice.SEATED)))
    session.open()
    outcome = session.run_step("pull-3")
    assert outcome.pull.outcome == "matched"
    assert "has not got its load back" in " ".join(outcome.problems)


def test_nobody_pulling_for_ten_minutes_leaves_the_sheet(job, box, make_person):
    session = Session(job, box, make_person(None))
    session.open()
    assert session.run_step("pull-3").end is StepEnd.LEFT


def test_a_load_that_cannot_be_sensed_is_not_asked_for(job, box, make_person):
    person = make_person(box)
    session = Session(job, box, person)
    session.open()
    box.pulled.add(3)  # nothing there from the beginning
    outcome = session.run_step("pull-3")
    assert outcome.pull.outcome == "skipped"
    assert "Prove the place by watching" in outcome.note
    assert person.of(PromptKind.PULL) == []


def test_a_loose_contact_is_counted_while_nothing_is_driven(session, box, notebook):
    box.loose = {3: 4}
    outcome = session.run_step("wiggle-3")
    assert outcome.end is StepEnd.DONE
    seen = 4 * WATCHES  # the fake box lets go as often in every watch
    assert session.evidence.of(3).dropouts == seen
    assert session.evidence.of(3).watched
    assert not box.calls("drive", "arm", "sense")
    assert [event.facts["dropouts"] for event in notebook.of("event")] == [seen]
    box.loose = {}
    session.run_step("wiggle-3")
    assert session.evidence.of(3).dropouts == 0


def test_a_watch_that_is_blinded_as_it_begins_does_not_blind_the_test(session, box):
    """A contact that lets go while the box learns the undisturbed pin hides what comes later in that watch."""
    box.loose = {3: 2}
    whole, blind = box.watch, [WATCHES - 1]

    def watch(channel, **more):
        blind[0] -= 1
        box.loose = {3: 0 if blind[0] >= 0 else 2}
        return whole(channel, **more)

    box.watch = watch
    session.run_step("wiggle-3")
    assert session.evidence.of(3).dropouts == 2


def test_a_loom_with_a_step_left_out_does_not_pass(session):
    session.run_all()
    before = session.verdict()
    session.skip_step("pull-3", "no time")
    after = session.verdict()
    assert after is (Verdict.NOT_TESTED if before is Verdict.PASS else before)
    assert after is not Verdict.PASS


def test_a_channel_that_was_only_looked_at_is_not_tested(session, job):
    session.run_step("look")
    for entry in job.channels:
        assert channel_verdict(session.verdicts(), entry.channel) is Verdict.NOT_TESTED


def test_a_pin_that_shows_no_load_is_not_watched(session, box):
    box.pulled.add(3)
    outcome = session.run_step("wiggle-3")
    assert "not watched" in outcome.note
    assert not box.calls("watch")
    assert session.evidence.of(3).unwatchable
    contact = next(v for v in session.verdicts() if v.channel == 3 and v.property is Property.CONTACT)
    assert contact.verdict is Verdict.NOT_TESTED


def test_events_tell_the_story_in_order(session):
    seen = []
    unsubscribe = session.subscribe(seen.append)
    session.run_step("drive-3")
    kinds = [type(event) for event in seen]
    assert (
        kinds.index(StepStarted)
        < kinds.index(DriveStarted)
        < kinds.index(StepFinished)
        < kinds.index(JudgedAnew)
    )
    unsubscribe()
    count = len(seen)
    session.run_step("look")
    assert len(seen) == count


def test_a_waiting_prompt_ends_when_another_thread_stops(job, box, make_person):
    waiting, cancelled = threading.Event(), threading.Event()

    class Slow(make_person):
        def answer(self, prompt):
            waiting.set()
            cancelled.wait(5)
            return Answer(Choice.LEAVE)

        def cancel(self):
            cancelled.set()

    session = Session(job, box, Slow(box))
    session.open()
    worker_saw = []
    worker = threading.Thread(target=lambda: worker_saw.append(session.run_step("drive-3")))
    worker.start()
    assert waiting.wait(5)
    session.request_stop("key")
    worker.join(5)
    assert worker_saw[0].end is StepEnd.STOPPED
    assert not box.calls("drive")


def test_hazards_of_steps(session):
    assert session.sheet.step("drive-1").hazard is HazardClass.FUEL
    assert session.sheet.step("drive-2").hazard is HazardClass.SPARK


def cut_traces(box, times):
    """The box misses samples: its next traces end early, as the firmware ends a trace that has a gap."""
    whole = box.trace
    left = [times]

    def trace(channel, on_us, decimation, samples):
        if left[0] > 0 and samples > 50:
            left[0] -= 1
            return whole(channel, on_us, decimation, 3)
        return whole(channel, on_us, decimation, samples)

    box.trace = trace


@pytest.mark.parametrize(("cut", "drives"), [(0, 3), (1, 4), (2, 3)])
def test_a_pulse_whose_samples_were_missed_is_measured_once_more(session, box, cut, drives):
    session.run_step("look")
    cut_traces(box, cut)
    outcome = session.run_step("drive-3")
    assert outcome.end is StepEnd.DONE
    assert (
        len(box.calls("drive")) == drives
    )  # the last two are for eyes and ears, as they contradict the current
    assert ("Measured twice" in outcome.note) == (cut > 0)
    resistance = outcome.evidence[0].signature.resistance_ohm
    assert (resistance is not None) == (cut < 2)


def test_fuel_is_not_let_out_again_for_missed_samples(job, box, make_person):
    session = Session(job, box, make_person(box, statement=rail_is_not_dry))
    session.open()
    session.run_step("look")
    cut_traces(box, 1)
    outcome = session.run_step("drive-1")
    assert len([one for one in box.calls("drive") if one[1] == (1,)]) == 1
    assert any("not driven again" in problem for problem in outcome.problems)
