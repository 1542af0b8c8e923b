"""What is left of a sheet follows the session's own pace; what the box is busy for follows the drive."""

from dataclasses import replace

import pytest

from loomproof.facts.drive import PulseTrain, TrainRequest
from loomproof.facts.step import StepEnd, StepKind
from loomproof.facts.verdict import Verdict
from loomproof.procedure.step import Step
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.procedure.steps.wiggle import WATCH_MS
from loomproof.procedure.timing import FIRST_GUESS_S, busy_s, left_s
from loomproof.safety.order import Phase


def step(number, kind, drive=None):
    return Step(str(number), kind, next(iter(Phase)), "t", "w", drive=drive)


def outcome(number, kind, took_s, end=StepEnd.DONE, skipped=""):
    return StepOutcome(
        step_id=str(number), attempt=1, kind=kind, began_s=100.0, ended_s=100.0 + took_s, end=end,
        verdict=Verdict.PASS, skipped_reason=skipped,
    )  # fmt: skip


SHEET = [step(n, StepKind.PULL_CHECK) for n in range(6)] + [step(9, StepKind.SUMMARY)]


def test_before_anything_is_done_the_first_guess_stands():
    assert left_s(SHEET, ()) == 6 * FIRST_GUESS_S[StepKind.PULL_CHECK] + FIRST_GUESS_S[StepKind.SUMMARY]


def test_the_median_of_what_was_done_counts_for_the_rest():
    done = [outcome(n, StepKind.PULL_CHECK, took) for n, took in enumerate((4.0, 6.0, 50.0))]
    assert left_s(SHEET, done) == 3 * 6.0 + FIRST_GUESS_S[StepKind.SUMMARY]


def test_a_skipped_step_is_done_but_tells_nothing_and_a_stopped_one_is_still_to_do():
    done = [
        outcome(0, StepKind.PULL_CHECK, 0.1, StepEnd.SKIPPED, "no access"),
        outcome(1, StepKind.PULL_CHECK, 3.0, StepEnd.STOPPED),
        outcome(2, StepKind.PULL_CHECK, 8.0),
    ]
    assert left_s(SHEET, done) == 4 * 8.0 + FIRST_GUESS_S[StepKind.SUMMARY]


def test_the_box_is_busy_for_its_train_and_not_known_where_it_waits_for_hands():
    train = TrainRequest(channel=1, train=PulseTrain(count=10, period_us=200_000, on_time_us=5_000))
    assert busy_s(step(1, StepKind.DRIVE, train), 16) == pytest.approx(2.0 + 1.0)
    assert busy_s(replace(step(1, StepKind.WIGGLE), channels=(4, 5)), 16) == 2 * WATCH_MS / 1000
    assert busy_s(step(1, StepKind.PASSIVE_LOOK), 16) > busy_s(step(1, StepKind.PASSIVE_LOOK), 4) > 0
    assert busy_s(step(1, StepKind.PULL_CHECK), 16) is None
