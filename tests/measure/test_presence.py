"""Which channel lost its load: templates, ripple, drift, wild readings, several at once."""

import math
from dataclasses import replace

import numpy as np
import pytest

from loomproof.facts.presence import Cause, ScanReading
from loomproof.measure.presence.detector import LoadPresence, PresenceDesign, PresenceDetector

BIAS_V, PIN_STEP_V, PIN_NOISE, SUPPLY_V = 2.5, 60.0 / 1023, 0.5, 13.5
PIN_U = math.hypot(PIN_NOISE, 1 / math.sqrt(12)) * PIN_STEP_V


class Loom:
    """Pins held by their loads at `levels` (None: at the supply), read like a 10-bit box does."""

    def __init__(self, levels=None, channels=16, seed=1):
        self.levels = levels or dict.fromkeys(range(1, channels + 1))
        self.rng = np.random.default_rng(seed)
        self.away = set()
        self.elsewhere = {}
        self.supply_v = SUPPLY_V
        self.currents = {}

    def scan(self):
        out = {}
        for channel, level in self.levels.items():
            pin = BIAS_V if channel in self.away else self.supply_v if level is None else level
            pin = self.elsewhere.get(channel, pin)
            counts = np.clip(np.rint(pin / PIN_STEP_V + self.rng.normal(0, PIN_NOISE)), 0, 1023)
            reading = ScanReading(float(counts) * PIN_STEP_V, BIAS_V, PIN_U)
            if channel in self.currents:
                step = 2.0 / 1007
                amps = 0.0 if channel in self.away else self.currents[channel] * self.supply_v / SUPPLY_V
                seen = float(np.rint(amps / step + self.rng.normal(0, 0.5))) * step
                reading = replace(reading, current_a=seen, current_u_a=0.58 * step)
            out[channel] = reading
        return out


def run(detector, loom, scans, start=0, hz=10.0):
    """(scan number, change) of everything told."""
    told = []
    for k in range(start, start + scans):
        told += [(k, c) for c in detector.feed(k / hz, loom.supply_v, loom.scan())]
    return told


def learned(loom, **design):
    detector = PresenceDetector(PresenceDesign(**design))
    assert run(detector, loom, detector.design.learning_scans) == []
    assert not detector.learning
    return detector


def test_a_pulled_connector_is_told_on_the_second_scan_and_so_is_its_return():
    loom = Loom()
    detector = learned(loom)
    loom.away = {5, 6}
    ((at, change),) = run(detector, loom, 10, start=10)
    assert (at, change.lost, change.cause) == (11, {5, 6}, Cause.CONNECTOR)
    assert not change.elsewhere
    assert detector.lost == {5, 6}
    assert detector.present == set(range(1, 17)) - {5, 6}
    loom.away = set()
    told = run(detector, loom, 10, start=20)
    assert told[0][0] <= 22
    assert frozenset().union(*(c.regained for _, c in told)) == {5, 6}
    assert detector.settled


def test_one_wild_reading_is_not_enough_however_wild():
    loom = Loom()
    detector = learned(loom)
    for k in range(40):
        loom.away = {3} if k % 4 == 0 else set()
        assert run(detector, loom, 1, start=10 + k) == []


def test_the_level_follows_from_the_wanted_false_alarms():
    """Lorden 1971: exp(h) readings per false alarm; 16 channels, 10 scans a second, once an hour."""
    assert math.exp(PresenceDesign(false_alarms_per_hour=1.0).threshold(16)) == pytest.approx(16 * 36000)
    stricter = PresenceDesign(false_alarms_per_hour=0.1).threshold(16)
    assert stricter == pytest.approx(PresenceDesign(false_alarms_per_hour=1.0).threshold(16) + math.log(10))


def test_the_cumulative_sum_of_pure_noise_keeps_the_bound():
    """One weak channel (4 sigma apart, normal noise): the mean time between false alarms is at least exp(h)."""
    design = PresenceDesign(scan_hz=1.0, false_alarms_per_hour=36.0, wild_share=1e-9, learning_scans=400)
    expected = math.exp(design.threshold(1))
    assert expected == pytest.approx(100.0)
    rng = np.random.default_rng(3)
    detector = PresenceDetector(design)
    alarms, scans = 0, 20_000
    for k in range(400 + scans):
        pin = BIAS_V + 6.0 * 0.1 + rng.normal(0, 0.1)
        for change in detector.feed(float(k), SUPPLY_V, {1: ScanReading(pin, BIAS_V, 0.1)}):
            alarms += bool(change.lost)
    assert alarms <= scans / expected + 3 * math.sqrt(scans / expected)


def test_ripple_and_sag_of_the_supply_are_no_change():
    loom = Loom({c: None if c % 2 else 0.0 for c in range(1, 17)})
    detector = learned(loom)
    for k in range(600):
        loom.supply_v = 13.5 + 0.4 * math.sin(k * 1.7) - 4.0 * (k > 300)
        assert run(detector, loom, 1, start=10 + k) == []
    loom.away = {7}
    assert [c.lost for _, c in run(detector, loom, 5, start=700)] == [{7}]


def test_a_supply_that_goes_is_not_sixteen_pulled_connectors():
    loom = Loom()
    detector = learned(loom)
    loom.supply_v = 3.0
    ((_, change),) = run(detector, loom, 20, start=10)
    assert (change.cause, change.supply_present, change.lost) == (Cause.SUPPLY, False, frozenset())
    assert not detector.supply_present
    assert len(detector.present) == 16
    loom.supply_v = 12.0
    ((_, back),) = run(detector, loom, 20, start=30)
    assert (back.cause, back.supply_present) == (Cause.SUPPLY, True)


def test_the_loads_of_several_connectors_at_once_share_a_cause():
    loom = Loom()
    detector = PresenceDetector(connectors=[frozenset({1, 2, 3, 4}), frozenset({5, 6})])
    run(detector, loom, 5)
    loom.away = {1, 2, 3, 4, 5}  # two connectors, by hand
    assert {c.cause for _, c in run(detector, loom, 4, start=10)} == {Cause.CONNECTOR}
    loom.away = set()
    run(detector, loom, 20, start=20)
    loom.away = {1, 5, 9}  # three at one moment
    assert {c.cause for _, c in run(detector, loom, 4, start=50)} == {Cause.SHARED}


def test_a_pin_that_touches_something_else_is_told_too_and_named_so():
    loom = Loom()
    detector = learned(loom)
    loom.elsewhere = {4: 0.0}
    told = run(detector, loom, 20, start=10)
    assert [c.lost for _, c in told] == [{4}]
    assert told[0][1].elsewhere == {4}


def test_slow_drift_is_followed():
    loom = Loom({1: 5.0, 2: None})
    detector = learned(loom)
    for k in range(3000):
        loom.levels[1] = 5.0 - 2.0 * k / 3000
        assert run(detector, loom, 1, start=10 + k) == []
    loom.away = {1}
    assert [c.lost for _, c in run(detector, loom, 10, start=4000)] == [{1}]


def test_where_the_pin_tells_nothing_the_sense_current_does():
    loom = Loom({1: BIAS_V, 2: BIAS_V, 3: BIAS_V})
    loom.currents = {1: 0.06, 2: 0.012}  # strong, and 10 sigma
    detector = learned(loom)
    assert detector.present == {1, 2}
    assert detector.blind == {3}
    loom.away = {1, 2, 3}
    told = run(detector, loom, 12, start=10)
    assert frozenset().union(*(c.lost for _, c in told)) == {1, 2}
    assert told[-1][0] <= 15


def test_a_load_that_arrives_at_a_blind_channel_is_learned():
    loom = Loom()
    loom.away = {8}
    detector = learned(loom)
    assert detector.blind == {8}
    loom.away = set()
    told = run(detector, loom, 20, start=10)
    assert [c.regained for _, c in told] == [{8}]
    loom.away = {8}
    assert [c.lost for _, c in run(detector, loom, 5, start=40)] == [{8}]


def test_scans_may_cover_some_of_the_channels():
    loom = Loom()
    detector = learned(loom)
    loom.away = {2}
    for k in range(10, 16):
        part = {c: r for c, r in loom.scan().items() if c % 2 == k % 2}
        detector.feed(k / 10, loom.supply_v, part)
    assert detector.lost == {2}
    assert detector.states[3] is LoadPresence.PRESENT


@pytest.mark.parametrize(
    "wrong", [{"scan_hz": 0.0}, {"false_alarms_per_hour": 0.0}, {"wild_share": 0.5}, {"learning_scans": 1}]
)
def test_a_design_that_cannot_work_is_refused(wrong):
    with pytest.raises(ValueError, match=r"."):
        PresenceDesign(**wrong)
