"""The campaign's command line: length, seed, choice, and that a study that fails is named."""

import sys

import pytest

from benchmarks import campaign


def scripts_of(share):
    runs = list(campaign._scripts(share, 7))
    return sum(int(dict(run.settings)["LOOMPROOF_SCRIPTS"]) for run in runs), runs


def test_the_length_scales_every_study():
    short, _ = scripts_of(0.01)
    long, runs = scripts_of(1.0)
    assert (short, long) == (2000, 200_000)
    seeds = [word for run in runs for word in run.command if word.startswith("--hypothesis-seed=")]
    assert len(set(seeds)) == len(runs) == 40
    assert sum(study.minutes for study in campaign.STUDIES) == campaign.MINUTES


@pytest.mark.parametrize("share", [0.01, 1.0])
@pytest.mark.parametrize("study", campaign.STUDIES, ids=lambda study: study.name)
def test_a_study_has_something_to_run(study, share):
    runs = list(study.runs(share, campaign.LARGEST_SEED))
    assert runs
    assert all(word for run in runs for word in run.command)


@pytest.mark.parametrize("exit_code", [0, 3])
def test_a_failed_study_is_named_with_the_seed_that_repeats_it(monkeypatch, capfd, exit_code):
    command = (sys.executable, "-c", f"raise SystemExit({exit_code})")
    study = campaign.Study("one", "a study", 1, lambda share, seed: iter([campaign.Run(command)]))
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
