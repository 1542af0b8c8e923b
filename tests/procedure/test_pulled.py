import pytest

from loomproof.procedure.steps.pull_verdict import judge_pull


@pytest.mark.parametrize(
    ("channel", "expected", "lost", "outcome"),
    [
        (1, (1,), (1,), "matched"),
        (1, (1,), (), "none"),
        (1, (1,), (2,), "other"),
        (1, (1,), (2, 3), "several"),
        (1, (1,), (1, 2), "several"),
        (1, (1, 2), (1, 2), "matched"),
        (2, (1, 2), (1,), "none"),
        (1, (1, 2), (1,), "matched"),
        (2, (1, 2), (1, 3), "other"),
    ],
)
def test_what_a_pull_says(channel, expected, lost, outcome):
    assert judge_pull(channel, expected, lost) == outcome
