"""Trains at the very edge of a budget of round numbers."""

from dataclasses import replace

import pytest

from loomproof.facts.drive import PulseTrain
from loomproof.facts.kinds import LoadKind
from loomproof.job.load_type import Train
from loomproof.safety.budget import BoxCeilings, Budget, Limit
from loomproof.safety.load_model import LoadModel
from loomproof.safety.trains import check_train, duty_permille, fit_train, pulse_train

BUDGET = Budget(
    channel=3,
    max_on_time_us=4000,
    max_count=20,
    max_duty_permille=250,
    max_hold_ms=0,
    min_period_us=10_000,
    max_current_ma=2000,
    max_sense_us=50,
    limits=(
        Limit("on_time_us", 4000, "on-time."),
        Limit("duty_permille", 250, "duty."),
        Limit("period_us", 10_000, "period."),
    ),
    model=LoadModel(LoadKind.LAMP, 14.0),
    ceilings=BoxCeilings(),
    load_count=20,
)
EDGE = PulseTrain(count=20, period_us=16_000, on_time_us=4000)
"""At every limit at once but the shortest period."""


def told(train, budget=BUDGET):
    return [(problem.field, problem.value, problem.limit) for problem in check_train(budget, train)]


@pytest.mark.parametrize(
    ("train", "problems"),
    [
        (EDGE, []),
        (replace(EDGE, on_time_us=4001, period_us=20_000), [("on_time_us", 4001, 4000)]),
        (PulseTrain(count=1, period_us=10_000, on_time_us=50), []),
        (PulseTrain(count=1, period_us=10_000, on_time_us=49), [("on_time_us", 49, 50)]),
        (PulseTrain(count=1, period_us=9_999, on_time_us=100), [("period_us", 9_999, 10_000)]),
        (PulseTrain(count=1, period_us=15_999, on_time_us=4000), [("duty_permille", 251, 250)]),
        (replace(EDGE, count=21), [("count", 21, 20)]),
        (PulseTrain(count=1, period_us=16_000, on_time_us=4000), []),
        (PulseTrain(count=0, period_us=16_000, on_time_us=4000), [("count", 0, 1)]),
        (PulseTrain(count=-1, period_us=16_000, on_time_us=4000), [("count", -1, 1)]),
        (PulseTrain(count=21, period_us=16_000, on_time_us=0), [("on_time_us", 0, 50)]),
        (
            PulseTrain(count=21, period_us=0, on_time_us=1000),
            [("period_us", 0, 10_000), ("duty_permille", 1_000_000, 250)],
        ),
        (PulseTrain(count=21, period_us=10_000, on_time_us=1), [("on_time_us", 1, 50), ("count", 21, 20)]),
    ],
)
def test_one_over_is_a_problem_and_at_the_limit_is_none(train, problems):
    assert told(train) == problems


def test_a_count_is_judged_from_one_microsecond_on():
    assert told(PulseTrain(count=21, period_us=1, on_time_us=1))[-1] == ("count", 21, 20)


def test_a_problem_is_told_with_its_unit_and_remedy():
    (problem,) = check_train(BUDGET, replace(EDGE, count=21))
    assert str(problem) == (
        "21 pulses is over the limit of 20 pulses: the load type's own limit. Use fewer, shorter or rarer pulses."
    )


@pytest.mark.parametrize(
    ("on_time_us", "period_us", "permille"),
    [(1000, 4000, 250), (1001, 4000, 251), (1, 1_000_000, 1), (0, 1000, 0), (5, 0, 5000), (5, 1, 5000)],
)
def test_the_duty_is_rounded_up_and_has_no_period_of_zero(on_time_us, period_us, permille):
    assert duty_permille(PulseTrain(count=1, period_us=period_us, on_time_us=on_time_us)) == permille


def test_a_jobs_train_is_taken_in_whole_microseconds():
    """6.4 ms 30 times a second: 6400 of 33333 us."""
    train = Train(count=7, frequency_hz=30.0, on_time_ms=6.4)
    assert pulse_train(train) == PulseTrain(count=7, period_us=33_333, on_time_us=6400)
    assert told(Train(count=21, frequency_hz=10.0, on_time_ms=6.4)) == [
        ("on_time_us", 6400, 4000),
        ("count", 21, 20),
    ]
    fitted, _ = fit_train(BUDGET, Train(count=21, frequency_hz=10.0, on_time_ms=6.4))
    assert fitted == PulseTrain(count=20, period_us=100_000, on_time_us=4000)


@pytest.mark.parametrize(
    ("asked", "fitted", "notes"),
    [
        (EDGE, EDGE, 0),
        (replace(EDGE, on_time_us=4001), EDGE, 1),
        (replace(EDGE, period_us=15_999), EDGE, 1),
        (replace(EDGE, count=21), EDGE, 1),
        (PulseTrain(count=21, period_us=1000, on_time_us=9000), EDGE, 3),
        (
            PulseTrain(count=5, period_us=9_999, on_time_us=50),
            PulseTrain(count=5, period_us=10_000, on_time_us=50),
            1,
        ),
        (PulseTrain(count=5, period_us=10_000, on_time_us=49), None, 1),
        (
            PulseTrain(count=5, period_us=10_000, on_time_us=50),
            PulseTrain(count=5, period_us=10_000, on_time_us=50),
            0,
        ),
        (
            PulseTrain(count=5, period_us=10_000, on_time_us=2501),
            PulseTrain(count=5, period_us=10_004, on_time_us=2501),
            1,
        ),
    ],
)
def test_a_train_is_lowered_as_little_as_needed(asked, fitted, notes):
    got, why = fit_train(BUDGET, asked)
    assert got == fitted
    assert len(why) == notes


def test_one_pulse_is_still_a_train_and_none_is_not():
    one = replace(BUDGET, load_count=1)
    assert fit_train(one, EDGE)[0] == replace(EDGE, count=1)
    none = replace(BUDGET, load_count=0)
    got, why = fit_train(none, replace(EDGE, count=1))
    assert got is None
    assert why == ("not one pulse of 4000 us: the load type's own limit.",)


def test_a_budget_below_the_boxes_shortest_pulse_gives_nothing():
    for longest_us, fits in ((50, True), (49, False)):
        got, why = fit_train(replace(BUDGET, max_on_time_us=longest_us), EDGE)
        assert (got is not None) is fits
        assert why[0] == f"pulse shortened to {longest_us} us: on-time."
    assert why[1] == "the box's shortest pulse is 50 us."
