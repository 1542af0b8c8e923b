"""The study draws what it says, and counts what was said."""

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from benchmarks.study.faults import Planted
from benchmarks.study.joints import Curve
from benchmarks.study.run import Said, draw_loom, run
from benchmarks.study.tally import Share, Study, confusion, names, verdict_of
from loomproof.facts.fault_kind import FaultKind


def test_a_seed_gives_the_same_loom_and_the_same_words():
    assert run(11) == run(11)


def test_a_seed_means_the_same_job_in_every_process():
    """Sets of text have another order in each process unless somebody sorts them."""
    code = (
        "import numpy as np; from benchmarks.study.jobs import random_job; "
        "print([random_job(np.random.default_rng(s)).model_dump_json() for s in range(5)])"
    )
    said = {
        subprocess.run(
            [sys.executable, "-c", code],
            cwd=Path(__file__).parents[2],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(said) == 1


def test_a_loom_with_a_gross_fault_is_not_passed():
    outcome = run(8)  # another load fitted, far from the right one
    (planted,) = outcome.planted
    assert planted.kind is FaultKind.WRONG_LOAD
    assert not outcome.error
    assert verdict_of(outcome, planted) == "fail"
    assert outcome.found[0].kind == "wrong_load"
    assert confusion(Study([outcome]))["wrong_load"] == {"wrong_load": 1}


def test_a_kind_asked_for_is_the_only_one_drawn():
    kinds = ("weak_supply", "stuck_armature")
    looms = [draw_loom(seed, 1, kinds) for seed in range(30)]
    assert {str(p.kind) for loom in looms for p in loom.planted} == set(kinds)
    assert all(len(loom.planted) == 1 for loom in looms)


def test_one_loom_in_ten_obeys_the_second_law_and_both_boards_take_part():
    looms = [draw_loom(seed) for seed in range(120)]
    share = sum(loom.truth.loom.law == "second" for loom in looms) / len(looms)
    assert 0.03 < share < 0.2
    assert {loom.board.key for loom in looms} == {"reference", "twelve_bit"}
    assert all(6 <= len(loom.job.channels) <= 16 for loom in looms)


def planted(kind, channels, feed=None):
    return Planted(kind, channels, "", True, feed)


@pytest.mark.parametrize(
    ("said", "there", "alone", "beside"),
    [
        (Said("open", (3,), (), None, 0.9), planted(FaultKind.OPEN, (3,)), True, True),
        (Said("open", (4,), (), None, 0.9), planted(FaultKind.OPEN, (3,)), False, False),
        (
            Said("short_to_supply", (3,), ("short_across_load",), None, 0.5),
            planted(FaultKind.SHORT_ACROSS_LOAD, (3,)),
            False,
            True,
        ),
        (Said("swapped", (2, 5, 1), (), None, 1.0), planted(FaultKind.SWAPPED, (1, 2, 5)), True, True),
        (Said("swapped", (2, 5), (), None, 1.0), planted(FaultKind.SWAPPED, (1, 2, 5)), False, False),
        (Said("feed_open", (1, 2), (), "F1", 1.0), planted(FaultKind.FEED_OPEN, (1, 2, 7), "F1"), True, True),
        (Said("open", (1,), (), "F1", 1.0), planted(FaultKind.FEED_OPEN, (1, 2, 7), "F1"), False, False),
        (Said("weak_supply", (), (), None, 1.0), planted(FaultKind.WEAK_SUPPLY, ()), True, True),
    ],
)
def test_a_fault_is_named_by_its_kind_at_its_place(said, there, alone, beside):
    assert names(said, there, twins=False) is alone
    assert names(said, there, twins=True) is beside


def test_a_false_alarm_is_counted_once_for_its_loom():
    sound = replace(run(11), planted=(), words={1: "pass", 2: "pass"}, found=())
    assert not sound.error
    study = Study([sound, replace(sound, words={1: "fail", 2: "pass"}), replace(sound, error="broke")])
    assert (study.false_channels().hits, study.false_channels().total) == (1, 4)
    assert (study.false_looms().hits, study.false_looms().total) == (1, 2)
    assert len(study.broken) == 1


# Newcombe 1998, Statistics in Medicine 17, table I (from memory).
@pytest.mark.parametrize(("hits", "total", "low", "high"), [(81, 263, 0.2553, 0.3662), (0, 20, 0.0, 0.1611)])
def test_intervals_are_wilson_s(hits, total, low, high):
    assert Share(hits, total).interval == pytest.approx((low, high), abs=5e-5)


def test_a_curve_s_limit_is_its_first_step_that_suffices():
    curve = Curve(noticed=(0.0, 0.5, 0.98, 0.995) + (1.0,) * 82, failed=(0.0, 0.0, 0.5, 0.98) + (1.0,) * 82)
    assert curve.needed() == pytest.approx(0.0075)
    assert curve.failing() == pytest.approx(0.01)
