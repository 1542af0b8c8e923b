"""Keys that job files had: a file that still has one is told what to do, and nothing else changes for it."""

import re
from pathlib import Path

import pytest

from loomproof.job.file.loading import JobError, job_digest, parse_job

ROOT = Path(__file__).parents[2]
FIVE = (ROOT / "examples" / "inline-five-turbo.toml").read_text(encoding="utf-8")
BLOCKS = re.findall(
    r"```toml\n(.*?)```", (ROOT / "docs" / "job-file.md").read_text(encoding="utf-8"), re.DOTALL
)
OWN = next(block for block in BLOCKS if "[[loads]]" in block)
GUIDE = BLOCKS[0].replace('load = "relay_diode"', 'load = "relay_horn"') + OWN
FIVE_BEFORE = "7884670d2581f79b231772243358d7f55568de204a6cd9290a983d2dd07507e1"
"""Digest that the example without `compression_ratio` would have had while that was a key and colours had a slash."""
GUIDE_BEFORE = "dc3ab89fbd7862718f3ad538e5dccbbe647209f36e55a93228c60655dbe017be"
"""Digest of the guide's job while load types had `rated_v`."""


@pytest.mark.parametrize(
    ("text", "at", "line", "label"),
    [
        (FIVE, "displacement_cm3 = 2640\n", "compression_ratio = 8.8", "engine.compression_ratio"),
        (GUIDE, 'kind = "relay" ', "rated_v = 24", "load relay_horn: rated_v"),
    ],
)
def test_a_file_that_still_has_it_is_told_the_line_and_the_remedy(text, at, line, label):
    parse_job(text)
    assert text.count(at) == 1
    older = text.replace(at, f"{line}\n{at}")
    with pytest.raises(JobError) as caught:
        parse_job(older)
    (problem,) = caught.value.problems
    assert problem.line == older[: older.index(line)].count("\n") + 1
    assert problem.key == label
    assert (
        f"`{label.split()[-1].split('.')[-1]}` is a key no longer; nothing ever depended on it"
        in problem.reason
    )
    assert problem.remedy == "remove the line; nothing else changes"


def test_a_record_begun_before_they_went_can_be_carried_on():
    assert job_digest(parse_job(FIVE)) == FIVE_BEFORE


def test_so_can_one_of_a_job_with_a_load_type_of_its_own():
    assert job_digest(parse_job(GUIDE)) == GUIDE_BEFORE
