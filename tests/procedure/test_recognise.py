import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.procedure.pulling import judge_pull
from loomproof.procedure.recognise import CONFIRMING_SCANS, ChannelScan, PullWatch, learn

BIAS, NOISE = 2.5, 0.05


def scan(lost=(), *, rests=None, currents=None, rng=None):
    rests = rests or {1: 13.5, 2: 13.5, 3: 0.0, 4: 2.5}
    currents = currents or {4: 0.05}
    rng = rng or np.random.default_rng(0)
    return {
        c: ChannelScan(
            drain_v=(BIAS if c in lost else rest) + rng.normal(0, NOISE),
            bias_v=BIAS,
            drain_u_v=NOISE,
            current_a=None
            if c not in currents
            else (0.0 if c in lost else currents[c]) + rng.normal(0, 0.001),
            current_u_a=0.001,
        )
        for c, rest in rests.items()
    }


def watch():
    rng = np.random.default_rng(1)
    return PullWatch(learn(scan(rng=rng) for _ in range(3)))


@pytest.mark.parametrize("channel", [1, 2, 3, 4])
def test_each_way_of_showing_a_load_is_recognised(channel):
    seen = watch()
    assert seen.templates[channel].usable
    for _ in range(CONFIRMING_SCANS):
        assert not seen.lost
        seen.feed(scan([channel]))
    assert seen.lost == {channel}
    for _ in range(CONFIRMING_SCANS):
        seen.feed(scan())
    assert not seen.lost
    assert seen.back == {channel}


def test_one_odd_scan_changes_nothing():
    seen = watch()
    seen.feed(scan([1]))
    seen.feed(scan())
    seen.feed(scan([1]))
    assert seen.ever_lost == frozenset()


def test_a_pin_that_shows_nothing_is_not_watched():
    rests = {1: 2.5, 2: 13.5}
    templates = learn(scan(rests=rests, currents={9: 1.0}) for _ in range(3))
    assert not templates[1].usable
    seen = PullWatch(templates)
    for _ in range(5):
        seen.feed(scan([1], rests=rests, currents={9: 1.0}))
    assert seen.ever_lost == frozenset()


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.sets(st.sampled_from([1, 2, 3, 4])), min_size=1, max_size=8),
    st.integers(0, 2**32 - 1),
)
def test_every_set_of_pulled_channels_is_told_from_noise(history, seed):
    rng = np.random.default_rng(seed)
    seen = PullWatch(learn(scan(rng=rng) for _ in range(3)))
    ever = set()
    for lost in history:
        for _ in range(CONFIRMING_SCANS + 1):
            seen.feed(scan(lost, rng=rng))
        ever |= lost
        assert seen.lost == lost
        assert seen.ever_lost == ever


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
