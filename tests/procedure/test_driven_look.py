"""A half-bridge motor, which neither its resting pins nor a sense pulse show: proven by its own short drives."""

from pathlib import Path
from urllib.parse import quote, urlencode

import numpy as np
import pytest

from loomproof.box.connect import connect
from loomproof.cli.prove.simulated_operator import SimulatedOperator
from loomproof.facts.step import StepEnd
from loomproof.facts.trace import Trace
from loomproof.job.file.loading import load_job
from loomproof.procedure.prompts import Answer, Choice, PromptKind
from loomproof.procedure.session import Session
from loomproof.procedure.steps.driven_look import _dropouts, _flows, driven_pair
from loomproof.safety.statements import StatementKind
from loomproof_sim.named_boxes import find, forget

EXAMPLE = Path(__file__).parents[2] / "examples" / "classroom-vee-six.toml"
JOB = load_job(EXAMPLE)
PAIR = (13, 14)


class Careful(SimulatedOperator):
    """Keeps what was asked; may refuse to make a statement."""

    def __init__(self, hands, refuses=()):
        super().__init__(hands, JOB)
        self.asked, self._refuses = [], refuses

    def answer(self, prompt):
        self.asked.append(prompt)
        if prompt.statement is not None and prompt.statement.kind in self._refuses:
            return Answer(Choice.SKIP)
        return super().answer(prompt)


@pytest.fixture
def worked():
    """A step on a simulated box with these faults: its outcome and what was asked."""
    names = []

    def work(step, *faults, refuses=()):
        name = f"driven-{len(names)}-{step}"
        names.append(name)
        query = [("seed", "3"), ("clock", "virtual"), ("name", name), *(("fault", f) for f in faults)]
        box = connect(f"sim://{quote(str(EXAMPLE))}?{urlencode(query)}", auto_call_in=True)
        try:
            person = Careful(find(name).hands, refuses)
            session = Session(JOB, box, person)
            session.open()
            return session.run_step(step), person.asked
        finally:
            box.close()

    yield work
    for name in names:
        forget(name)


def test_the_connector_of_a_motor_between_two_pins_is_proven_by_three_drives(worked):
    outcome, asked = worked("pull-13")
    assert outcome.end is StepEnd.DONE
    assert {e.channel: e.pull.outcome for e in outcome.evidence} == dict.fromkeys(PAIR, "matched")
    assert len(outcome.drove) == 3
    kinds = [p.kind for p in asked]
    assert kinds[0] is PromptKind.READY
    assert kinds[-2:] == [PromptKind.PULL, PromptKind.SEAT]
    assert all("keep clear" in p.text for p in asked[-2:])
    assert all(any("let go" in c.text for c in p.cautions) for p in asked if p.kind is PromptKind.PULL)


def test_nothing_is_driven_without_the_statement_that_the_motor_needs(worked):
    outcome, asked = worked("pull-13", refuses=tuple(StatementKind))
    assert outcome.end is StepEnd.BLOCKED
    assert outcome.drove == ()
    assert [p.kind for p in asked] == [PromptKind.READY, PromptKind.STATEMENT]


def test_a_motor_that_is_not_there_is_not_pulled(worked):
    outcome, asked = worked("pull-13", "open:13")
    assert {e.pull.outcome for e in outcome.evidence} == {"skipped"}
    assert PromptKind.PULL not in [p.kind for p in asked]


@pytest.mark.parametrize(("faults", "lets_go"), [((), False), (("intermittent:13",), True)])
def test_its_contacts_are_watched_while_it_is_driven(worked, faults, lets_go):
    outcome, _ = worked("wiggle-13", *faults)
    assert {e.channel for e in outcome.evidence if e.watched} == set(PAIR)
    assert all((e.dropouts > 0) is lets_go for e in outcome.evidence)


def test_only_a_pair_at_the_same_place_is_driven_for_its_connector():
    assert driven_pair(JOB, PAIR).channels == PAIR
    assert driven_pair(JOB, (13,)) is None
    assert driven_pair(JOB, (1, 2)) is None


def motor_trace(gaps=(), current_a=0.5):
    """60 ms of a motor's current: an inrush of 4 A that falls to `current_a` with 8 ms, and gaps of so many ms."""
    time_s = np.arange(0.0, 0.06, 150e-6)
    amps = current_a + (4.0 - current_a) * np.exp(-time_s / 8e-3) * (current_a > 0.0)
    for start_ms, length_ms in gaps:
        amps[(time_s >= start_ms * 1e-3) & (time_s < (start_ms + length_ms) * 1e-3)] = 0.0
    return Trace(
        channel=13,
        time_s=time_s,
        current_a=amps,
        current_u_a=np.full(time_s.size, 0.003),
        supply_v=np.full(time_s.size, 6.5),
        drain_v=np.zeros(time_s.size),
        supply_u_v=0.02,
        drain_u_v=0.02,
        on_time_s=0.06,
        sample_period_s=150e-6,
    )


@pytest.mark.parametrize(
    ("gaps", "count"), [((), 0), (((20, 1),), 1), (((10, 0.5), (30, 5)), 2), (((40, 2), (50, 2)), 2)]
)
def test_a_current_that_falls_away_and_comes_back_is_a_dropout(gaps, count):
    assert _dropouts(motor_trace(gaps)) == count


def test_no_current_is_neither_seen_nor_a_dropout():
    assert _flows(motor_trace())
    assert not _flows(motor_trace(current_a=0.0))
    assert _dropouts(motor_trace(current_a=0.0)) == 0
    assert not _flows(None)
