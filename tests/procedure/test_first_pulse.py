"""The first pulse on a pin: stated before on a vehicle, the shortest of all, and what looks like an initiator ends it.

The bridge of an initiator is about 2 ohm (from memory, no source at hand).
"""

import pytest

from loomproof.box.connect import connect
from loomproof.cli.prove.simulated_operator import SimulatedOperator
from loomproof.facts.drive import PulseTrain
from loomproof.facts.kinds import JobSetting
from loomproof.facts.step import StepEnd
from loomproof.job.file.loading import JobError, parse_job
from loomproof.procedure.drive.first_pulse import FIRST_PULSE_US
from loomproof.procedure.prompts import Answer, Choice, PromptKind
from loomproof.procedure.session import Session
from loomproof.procedure.step_result import StepInterruptedError
from loomproof.safety.approve import NotPermittedError
from loomproof.safety.statements import StatementKind
from loomproof_sim.named_boxes import find, forget
from loomproof_wire import messages as m
from testbed.jobs import hazards_job
from tests.procedure.conftest import FINE_A, WIDE_A, FakeBox, Notebook, Person, state_harmless

PULSES = ("sense", "drive", "peak_hold", "bridge", "stepper", "hold", "watch_held")


class Wired(FakeBox):
    """A fake whose pins show a resistance in the first pulse; `ohm` by channel."""

    def __init__(self, **ohm):
        super().__init__()
        self.ohm = {int(name[1:]): value for name, value in ohm.items()}

    def scan(self, channels, on_time_us):
        raw = super().scan(channels, on_time_us)
        if not on_time_us:
            return raw
        fine, wide = list(raw.fine_counts), [0] * 16
        for channel in channels:
            if channel in self.ohm:
                amps = self.supply_v / self.ohm[channel]
                fine[channel - 1] = min(1023, round(amps / FINE_A))
                wide[channel - 1] = min(1023, round(amps / WIDE_A))
        return m.ScanResult(
            raw.mask,
            raw.sensed_mask,
            on_time_us,
            raw.supply_counts,
            raw.drain_counts,
            tuple(fine),
            tuple(wide),
        )


def opened(job, box, person=None, notebook=None):
    session = Session(job, box, person or Person(box), notebook)
    session.open()
    return session


def pulses(box):
    """What switched a pin on, in order: the scan's length, or the name of what it was."""
    for what, detail in box.log:
        if what == "scan" and detail[1]:
            yield (what, detail[1])
        elif what in PULSES:
            yield (what, detail)


def pulses_by_pin(box):
    """Scans that switched pins on, with those pins."""
    return [(what, detail) for what, detail in box.log if what == "scan" and detail[1]]


def test_the_look_begins_with_the_shortest_pulse_on_every_pin(job, box):
    opened(job, box).run_step("look")
    first, *later = pulses(box)
    assert first == ("scan", FIRST_PULSE_US)
    assert ("scan", ((1, 2, 3, 4), FIRST_PULSE_US)) in box.log
    assert [what for what, _ in later] == ["sense"] * 4


@pytest.mark.parametrize("step", ["drive-1", "drive-3", "drive-4"])
def test_so_does_a_drive_that_nobody_looked_before(job, box, step):
    session = opened(job, box)
    assert session.run_step(step).end is StepEnd.DONE
    assert next(pulses(box)) == ("scan", FIRST_PULSE_US)
    session.run_step(step)
    assert [length for what, length in pulses(box) if what == "scan"] == [FIRST_PULSE_US]


def test_so_does_a_free_drive(job, box):
    session = opened(job, box)
    state_harmless(session)
    session.drive(3, PulseTrain(count=1, period_us=100_000, on_time_us=5000))
    assert next(pulses(box)) == ("scan", FIRST_PULSE_US)


def test_after_a_lost_supply_it_is_a_first_pulse_again(job, box):
    session = opened(job, box)
    session.run_step("drive-3")
    box.tell(m.SupplyEvent(0, 0))
    box.tell(m.SupplyEvent(1, 13_500))
    session.run_step("drive-3")
    assert [length for what, length in pulses(box) if what == "scan"] == [FIRST_PULSE_US] * 2


# --- what is stated before ----------------------------------------------------------------------------------


def test_on_a_vehicle_nothing_is_pulsed_before_somebody_states_that_nothing_can_be_set_off(job, box):
    person = Person(box, statement=Answer(Choice.SKIP))
    session = opened(job, box, person)
    outcome = session.run_step("look")
    assert outcome.end is StepEnd.BLOCKED
    assert list(pulses(box)) == []
    form = person.of(PromptKind.STATEMENT)[0].statement
    assert form.kind is StatementKind.LOOM_HARMLESS
    text = form.sentence
    assert all(word in text for word in ("airbag", "belt pretensioner", "high-voltage", "no smell of fuel"))
    with pytest.raises(NotPermittedError, match="set off"):
        session.drive(3, PulseTrain(count=1, period_us=100_000, on_time_us=5000))
    assert list(pulses(box)) == []


def test_it_holds_for_as_long_as_nothing_voids_it(job, box):
    person = Person(box)
    session = opened(job, box, person)
    session.run_step("look")
    box.clock_s += 3600.0
    session.run_step("look")
    asked = [p.statement.kind for p in person.of(PromptKind.STATEMENT)]
    assert asked == [StatementKind.LOOM_HARMLESS]
    session.request_stop("key")
    session.clear_stop()
    session.run_step("look")
    assert len(person.of(PromptKind.STATEMENT)) == 2


def test_on_a_bench_it_is_not_asked_for(box):
    person = Person(box)
    session = opened(hazards_job(JobSetting.BENCH), box, person)
    assert session.run_step("look").end is StepEnd.DONE
    assert person.of(PromptKind.STATEMENT) == []


# --- initiators ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ohm", [1.5, 1.8, 2.15, 3.0, 3.3])
@pytest.mark.parametrize("channel", [1, 2, 3, 4])
def test_a_bridge_wire_ends_the_look_with_the_reason(job, ohm, channel):
    box = Wired(**{f"c{channel}": ohm})
    notebook = Notebook(box)
    session = opened(job, box, notebook=notebook)
    outcome = session.run_step("look")
    assert outcome.end is StepEnd.BLOCKED
    reason = " ".join(outcome.problems)
    assert f"channel {channel} (" in reason
    assert "initiator" in reason
    assert "DANGER" in reason
    assert list(pulses(box)) == [("scan", FIRST_PULSE_US)]
    assert any(event.facts.get("suspected") == "initiator" for event in notebook.of("event"))


def test_nor_is_it_driven_later_while_the_others_are(job):
    box = Wired(c3=2.1)
    session = opened(job, box)
    session.run_step("look")
    assert session.run_step("drive-3").end is StepEnd.BLOCKED
    state_harmless(session)
    with pytest.raises(StepInterruptedError, match="initiator"):
        session.drive(3, PulseTrain(count=1, period_us=100_000, on_time_us=5000))
    assert session.run_step("drive-4").end is StepEnd.DONE
    assert not any(detail in (3, (3,)) for what, detail in box.log if what in PULSES)
    assert sum(what == "scan" and 3 in detail[0] for what, detail in pulses_by_pin(box)) == 1, (
        "its first is its last"
    )
    box.ohm.clear()  # the wire is out
    assert session.run_step("look").end is StepEnd.BLOCKED
    box.tell(m.SupplyEvent(0, 0))
    box.tell(m.SupplyEvent(1, 13_500))
    assert session.run_step("look").end is StepEnd.DONE
    assert session.run_step("drive-3").end is StepEnd.DONE


@pytest.mark.parametrize("ohm", [0.2, 1.0, 4.0, 14.0, 1e6])
def test_what_is_no_bridge_wire_goes_on(job, ohm):
    box = Wired(c1=ohm)
    assert opened(job, box).run_step("look").end is StepEnd.DONE


LOOM = """
schema_version = 1
setting = "bench"
[identity]
title = "one load"
job_number = "1"
[[connectors]]
id = "H1"
name = "header"
cavities = 2
[[locations]]
id = "there"
name = "there"
{loads}
[[channels]]
channel = 1
name = "output"
cavity = "H1-1"
location = "there"
load = "{load}"
"""
OHMIC = """
[[loads]]
key = "ohmic"
name = "wire of {ohm} ohm"
kind = "lamp"
resistance_ohm = {{ value = {ohm}, tolerance_percent = 1, source = "invented for this test" }}
steady_current_a = {{ value = 0.4, tolerance_percent = 10, source = "invented for this test" }}
inrush_ratio = {{ value = 10, tolerance_percent = 30, source = "invented for this test" }}
limits = {{ max_on_time_ms = 100, max_hold_ms = 1000, max_duty = 0.9, max_frequency_hz = 5, \
  max_count = 100, max_current_a = 20, max_sense_us = 60 }}
train = {{ count = 4, frequency_hz = 2, on_time_ms = 100 }}
notice = "it glows"
"""


@pytest.mark.parametrize(
    ("expected", "ohm", "end"),
    [
        ("injector_high", 2.0, StepEnd.BLOCKED),
        ("injector_low", 2.0, StepEnd.BLOCKED),
        ("motor_fan", 2.0, StepEnd.BLOCKED),
        ("coil_bare", 2.4, StepEnd.BLOCKED),
        ("lamp_1w2", 2.0, StepEnd.BLOCKED),
        ("lamp_5w", 2.8, StepEnd.DONE),
        ("injector_high", 8.0, StepEnd.DONE),
    ],
)
def test_on_the_simulated_box_a_wire_of_two_ohm_in_the_place_of_a_load(tmp_path, expected, ohm, end):
    path, name = tmp_path / "loom.toml", "bridge-wire"
    path.write_text(LOOM.format(load="ohmic", loads=OHMIC.format(ohm=ohm)), encoding="utf-8")
    job = parse_job(
        LOOM.format(load=expected, loads="") + ("fuel_pump = false\n" if expected == "motor_fan" else "")
    )
    box = connect(f"sim://{path}?seed=3&clock=virtual&name={name}", auto_call_in=True)
    try:
        session = Session(job, box, SimulatedOperator(find(name).hands, job))
        session.open()
        outcome = session.run_step("look")
    finally:
        box.close()
        forget(name)
    assert outcome.end is end
    assert any("initiator" in problem for problem in outcome.problems) is (end is StepEnd.BLOCKED)


@pytest.mark.parametrize(
    "load", ["injector_high", "injector_low", "coil_bare", "motor_fan", "motor_throttle", "relay_plain"]
)
def test_no_winding_of_the_trade_looks_like_one(tmp_path, load):
    path, name = tmp_path / "loom.toml", "winding"
    path.write_text(LOOM.format(load=load, loads=""), encoding="utf-8")
    job = parse_job(path.read_text(encoding="utf-8"))
    box = connect(f"sim://{path}?seed=3&clock=virtual&name={name}", auto_call_in=True)
    try:
        session = Session(job, box, SimulatedOperator(find(name).hands, job))
        session.open()
        assert session.run_step("look").end is StepEnd.DONE
    finally:
        box.close()
        forget(name)


def test_a_session_takes_no_job_with_a_refused_circuit(job, box):
    channel = job.channels[2].model_copy(update={"name": "airbag driver"})
    changed = job.model_copy(update={"channels": (*job.channels[:2], channel, job.channels[3])})
    with pytest.raises(JobError, match="restraint"):
        Session(changed, box, Person(box))
