"""The campaign's command line: length, seed, choice, and that a study that fails is named."""

import math
import re
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from benchmarks import campaign
from benchmarks.mutants.room import ROOMS

ROOT = Path(__file__).parents[2]


def scripts_of(minutes):
    runs = list(campaign._scripts(minutes, 7))
    return sum(int(dict(run.settings)["LOOMPROOF_SCRIPTS"]) for run in runs), runs


def size_of(runs, word):
    return [float(command[command.index(word) + 1]) for command in (run.command for run in runs)]


def test_all_studies_take_two_hours_as_the_makefile_says():
    asked = re.search(r"^MINUTES \?= (\d+)$", (ROOT / "Makefile").read_text(), re.MULTILINE)
    assert sum(study.minutes for study in campaign.STUDIES) == campaign.MINUTES == int(asked[1]) == 120


def test_every_script_run_begins_with_a_seed_of_its_own():
    count, runs = scripts_of(12.0)
    assert count == 12 * campaign.SCRIPTS
    seeds = [word for run in runs for word in run.command if word.startswith("--hypothesis-seed=")]
    assert len(set(seeds)) == len(runs) == math.ceil(count / campaign.SCRIPTS_AT_A_TIME)


@pytest.mark.parametrize(
    ("study", "word", "a_minute"),
    [
        (campaign._looms, "--looms", campaign.LOOMS),
        (campaign._looms, "--joints", campaign.JOINTS),
        (campaign._matrix, "--looms", campaign.MATRIX_LOOMS),
        (campaign._firmware, "--looms", campaign.PROVEN),
        (campaign._c_mutants, "--minutes", 1.0),
    ],
)
def test_half_the_time_does_half_as_much(study, word, a_minute):
    for minutes in (10.0, 20.0, 40.0):
        assert size_of(study(minutes, 7), word) == [round(a_minute * minutes)]


def test_each_room_gets_its_part_of_the_time_and_a_short_run_tries_one():
    rooms = [room.name for room in ROOMS]
    runs = list(campaign._mutants(30.0, 7))
    assert size_of(runs, "--minutes") == [10.0, 10.0, 10.0]
    assert [run.command[run.command.index("--room") + 1] for run in runs] == rooms
    drawn = [list(campaign._mutants(3.0, seed)) for seed in range(3)]
    assert [len(runs) for runs in drawn] == [1, 1, 1]
    assert {run.command[run.command.index("--room") + 1] for (run,) in drawn} == set(rooms)
    assert [size_of(runs, "--minutes") for runs in drawn] == [[3.0], [3.0], [3.0]]


def test_a_choice_of_studies_shares_the_time_among_them(monkeypatch, capfd):
    asked = []
    study = campaign.Study(
        "one", "a study", 1, lambda minutes, seed: iter([asked.append((minutes, seed))][:0])
    )
    monkeypatch.setattr(campaign, "STUDIES", (study, replace(study, name="two", minutes=3)))
    campaign.main(["--minutes", "8", "--seed", "5"])
    campaign.main(["--minutes", "8", "--seed", "5", "--only", "two"])
    assert asked == [(2.0, 5), (6.0, 5), (8.0, 5)]
    assert "two: a study, about 6.0 min" in capfd.readouterr().out


@pytest.mark.parametrize("minutes", [0.01, 30.0])
@pytest.mark.parametrize("study", campaign.STUDIES, ids=lambda study: study.name)
def test_a_study_has_something_to_run(study, minutes):
    runs = list(study.runs(minutes, campaign.LARGEST_SEED))
    assert runs
    assert all(word for run in runs for word in run.command)


@pytest.mark.parametrize("exit_code", [0, 3])
def test_a_failed_study_is_named_with_the_seed_that_repeats_it(monkeypatch, capfd, exit_code):
    command = (sys.executable, "-c", f"raise SystemExit({exit_code})")
    study = campaign.Study("one", "a study", 1, lambda minutes, seed: iter([campaign.Run(command)]))
    monkeypatch.setattr(campaign, "STUDIES", (study,))
    assert campaign.main(["--seed", "5"]) == bool(exit_code)
    told = capfd.readouterr().out
    assert "one: held" in told if exit_code == 0 else "failed: one (--seed 5)" in told


@pytest.mark.parametrize("words", [["--minutes", "0"], ["--seed", "-1"], ["--only", "nothing"]])
def test_wrong_words_are_refused(words, capsys):
    with pytest.raises(SystemExit) as left:
        campaign.main(words)
    assert left.value.code == 2
    assert words[0] in capsys.readouterr().err
