"""The stop latch, the heartbeat, the supply and the telemetry at the very instant and voltage."""

import math

import pytest

from loomproof_sim.controller.ports import NEVER_NS
from loomproof_sim.controller.supervision import HeartbeatTimer, StopLatch, SupplyWatch, TelemetryTimer
from loomproof_wire.messages import StopReason

MS = 1_000_000
TIMEOUT_NS = 400 * MS
"""As printed in docs/protocol.md."""


def test_a_box_just_booted_is_not_stopped_and_a_greeting_ends_the_boot():
    latch = StopLatch()
    assert (latch.reason, latch.stopped, latch.input_open) == (StopReason.BOOT, False, False)
    latch.greeted()
    assert (latch.reason, latch.stopped) == (StopReason.NONE, False)


@pytest.mark.parametrize(
    "reason", [reason for reason in StopReason if reason not in (StopReason.NONE, StopReason.BOOT)]
)
def test_the_first_reason_stays_until_it_is_cleared(reason):
    latch = StopLatch()
    assert latch.latch(reason) is True
    assert latch.stopped
    assert latch.latch(StopReason.COMMAND) is False
    latch.greeted()
    assert latch.reason is reason
    latch.clear()
    assert (latch.reason, latch.stopped) == (StopReason.NONE, False)


def test_a_heartbeat_is_lost_400_ms_after_the_last_one_and_told_once():
    heart = HeartbeatTimer()
    assert not heart.alive
    assert heart.next_ns() == NEVER_NS
    assert not heart.lost(10**15)
    heart.beat(5 * MS)
    assert heart.alive
    assert heart.next_ns() == 5 * MS + TIMEOUT_NS
    assert not heart.lost(5 * MS + TIMEOUT_NS - 1)
    assert heart.alive
    assert heart.lost(5 * MS + TIMEOUT_NS)
    assert not heart.alive
    assert not heart.lost(5 * MS + TIMEOUT_NS)


def test_a_newer_heartbeat_counts_and_a_forgotten_one_does_not():
    heart = HeartbeatTimer()
    heart.beat(0)
    heart.beat(300 * MS)
    assert not heart.lost(TIMEOUT_NS)
    heart.forget()
    assert not heart.alive


@pytest.mark.parametrize(
    ("supply_v", "good"),
    [
        (6.0, True),
        (math.nextafter(6.0, 0.0), False),
        (18.0, True),
        (math.nextafter(18.0, 99.0), False),
        (0.0, False),
    ],
)
def test_the_supply_is_good_from_limit_to_limit(supply_v, good):
    watch = SupplyWatch(6.0, 18.0)
    assert watch.measured(supply_v) is good  # it came, or stays away
    assert watch.good is good
    assert watch.measured(supply_v) is False


def test_a_supply_not_yet_measured_is_not_good_and_one_that_goes_is_noticed():
    watch = SupplyWatch(6.0, 18.0)
    assert (watch.good, watch.supply_v, watch.supply_mv) == (False, 0.0, 0)
    watch.measured(13.5)
    assert watch.measured(3.0) is True
    assert not watch.good
    assert watch.measured(13.5) is True


@pytest.mark.parametrize(
    ("supply_v", "supply_mv"), [(13.4567, 13_457), (-0.5, 0), (65.535, 65_535), (70.0, 65_535), (0.001, 1)]
)
def test_the_supply_is_told_in_millivolts_that_fit_the_wire(supply_v, supply_mv):
    watch = SupplyWatch(6.0, 18.0)
    watch.measured(supply_v)
    assert watch.supply_mv == supply_mv


def test_telemetry_is_due_every_100_ms_from_the_session_on():
    telemetry = TelemetryTimer()
    assert telemetry.next_ns() == NEVER_NS
    assert not telemetry.due(10**15)
    telemetry.begin(7 * MS)
    assert not telemetry.due(107 * MS - 1)
    assert telemetry.due(107 * MS)
    assert not telemetry.due(107 * MS)
    assert telemetry.next_ns() == 207 * MS
    assert telemetry.due(250 * MS)
    assert telemetry.next_ns() == 307 * MS
