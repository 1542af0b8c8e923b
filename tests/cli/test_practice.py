"""A simulated box named without a job hangs on the loom of the job that is opened, and its hands are found."""

from pathlib import Path

import pytest

from loomproof.cli.console.practice import DemoHands, hands_of, own_url

JOB = Path("/looms/a loom.toml")


@pytest.mark.parametrize(
    ("box", "url"),
    [
        ("sim://", "sim:///looms/a%20loom.toml?name=demo"),
        ("sim://?fault=open:5&seed=3", "sim:///looms/a%20loom.toml?fault=open:5&seed=3&name=demo"),
        ("sim:///other.toml?name=mine", "sim:///other.toml?name=mine"),
        ("/dev/ttyUSB0", "/dev/ttyUSB0"),
        ("socket://127.0.0.1:7600", "socket://127.0.0.1:7600"),
    ],
)
def test_only_a_simulated_box_without_a_job_is_given_one(box, url):
    assert own_url(JOB, box) == url


def test_hands_belong_to_the_box_they_can_find():
    assert isinstance(hands_of(own_url(JOB, "sim://")), DemoHands)
    assert hands_of("sim:///other.toml?name=mine") is None
    assert hands_of("/dev/ttyUSB0") is None
