"""Over-current in the core: limits in counts, currents from counts, the latch.

The rules and every number: docs/protocol.md.
"""

import ctypes
from dataclasses import replace

import pytest
from core_types import Board, Channel, configured
from hostconsole import HOLD, HostConsole, configure

from loomproof_wire import messages as wire


@pytest.fixture
def core(guarded):
    guarded.restart()
    return guarded.core


FINE_NA, WIDE_NA = 1_986_097, 19_665_683
"""Of the host board, per count; its offsets are 16 and 6 counts."""


@pytest.mark.parametrize(
    ("limit_ma", "wide", "counts"),
    [
        (10, False, 21),
        (200, False, 116),
        (1000, False, 519),
        (1937, False, 991),
        (1939, True, 104),
        (2029, True, 109),
        (2031, True, 109),
        (5000, True, 260),
        (19_380, True, 991),
        (19_400, True, 992),
        (20_000, True, 992),
    ],
)
def test_a_limit_in_counts_of_the_range_that_sees_it(core, limit_ma, wide, counts):
    configured(core, 4, max_current_ma=limit_ma)
    limit = core.trip_limit_of(4)
    assert (limit.wide, limit.counts) == (wide, counts)


def board_with(core, **channel):
    """Let over-current know another scale of channel 1; keep what is returned."""
    scale = {
        "wide_na_per_count": WIDE_NA,
        "wide_offset_x100": 600,
        "fine_na_per_count": FINE_NA,
        "fine_offset_x100": 1600,
    }
    channels = (Channel * 16)(Channel(kind=0, **(scale | channel)))
    board = Board(channel_count=16, adc_bits=10, channels=channels)
    core.trip_reset(ctypes.byref(board))
    return board


def test_a_limit_below_an_offset_is_the_first_count(core):
    configured(core, 1, max_current_ma=10)
    kept = board_with(core, fine_offset_x100=-600)
    limit = core.trip_limit_of(1)
    assert (limit.wide, limit.counts) == (False, 0)
    kept.channels[0].fine_offset_x100 = -500
    assert core.trip_limit_of(1).counts == 0
    kept.channels[0].fine_offset_x100 = -400
    assert core.trip_limit_of(1).counts == 1
    kept.channels[0].fine_offset_x100 = -499  # whole counts of it
    assert core.trip_limit_of(1).counts == 1


def test_a_limit_at_the_end_of_a_fine_scale_is_judged_in_the_wide_one(core):
    """1 mA a count, no offset: 1023 mA are the full scale, 992 counts (97 %) are believed."""
    kept = board_with(
        core,
        fine_na_per_count=1_000_000,
        fine_offset_x100=0,
        wide_na_per_count=10_000_000,
        wide_offset_x100=0,
    )
    for limit_ma, wide, counts in ((991, False, 991), (992, True, 99), (1022, True, 102), (1023, True, 102)):
        configured(core, 1, max_current_ma=limit_ma)
        limit = core.trip_limit_of(1)
        assert (limit.wide, limit.counts) == (wide, counts)
    kept.channels[0].fine_offset_x100 = -10_000  # believed further, but not beyond the full scale
    for limit_ma, wide, counts in ((1022, False, 922), (1023, True, 102), (1024, True, 102)):
        configured(core, 1, max_current_ma=limit_ma)
        limit = core.trip_limit_of(1)
        assert (limit.wide, limit.counts) == (wide, counts)
    for limit_ma, counts in ((9910, 991), (9920, 992), (9930, 992), (10_230, 992)):
        configured(core, 1, max_current_ma=limit_ma)
        assert core.trip_limit_of(1).counts == counts


@pytest.mark.parametrize(
    ("fine", "wide"),
    [(0, 0), (16, 6), (17, 6), (116, 16), (991, 200), (992, 200), (1023, 6), (1023, 5), (1023, 1023)],
)
def test_a_current_from_its_counts(core, fine, wide):
    """The fine range below 97 % of its scale, else the wide one; an error of 0.1 % is that of whole nA a count."""
    count, na = (fine - 16, FINE_NA) if fine < 992 else (wide - 6, WIDE_NA)
    current_na = max(0, count) * na
    assert core.trip_current_ua(1, fine, wide) == max(0, count) * (na // 1000)
    assert core.trip_current_10na(1, fine, wide) == max(0, count) * 100 * (na >> 10)
    assert core.trip_current_ua(1, fine, wide) * 1000 == pytest.approx(current_na, rel=1e-3)


def test_a_trip_switches_off_latches_and_is_reported_once(guarded):
    console = HostConsole(guarded)
    console.greet()
    core = guarded.core
    core.trip_now(3, 1023, 106)
    core.trip_now(16, 1023, 206)
    assert core.trip_mask() == 1 << 2 | 1 << 15
    console.wait(1)
    ma = 200 * (WIDE_NA // 1000) // 1000
    assert console.said(wire.Trip) == [wire.Trip(3, ma), wire.Trip(16, ma)]  # one value is kept
    console.wait(2)
    assert console.said(wire.Trip) == []
    core.trip_clear(3)
    assert core.trip_mask() == 1 << 15
    core.trip_clear(1)
    assert core.trip_mask() == 1 << 15
    guarded.restart()
    assert core.trip_mask() == 0


def test_a_trip_of_one_channel_is_reported_alone(guarded):
    console = HostConsole(guarded, 4)
    console.greet()
    guarded.core.trip_now(4, 116, 16)
    console.wait(1)
    assert console.said(wire.Trip) == [wire.Trip(4, 100 * (FINE_NA // 1000) // 1000)]


@pytest.mark.parametrize("top_v", [4.9, 4.95, 5.0])
@pytest.mark.parametrize(("limit_ma", "ohm"), [(20_000, 0.1), (1900, 1.0)])
def test_an_amplifier_that_tops_out_short_of_its_rail_does_not_hide_a_short(guarded, top_v, limit_ma, ohm):
    """135 A at a limit of 20 A, and 13.5 A at one of 1.9 A, which the fine range judges."""
    console = HostConsole(guarded)
    console.greet()
    configure(console, HOLD, max_current_ma=limit_ma)
    guarded.set_load(1, ohm, 1e-6)
    guarded.core.host_amplifier_top(ctypes.c_double(top_v / 5.0 * 1024))
    assert console.refusal(replace(HOLD, duration_ms=1000)) is None
    console.wait(5)
    assert console.on() == []
    assert console.said(wire.Trip)[0].channel == 1
    ((_, on_us),) = console.pulses()
    assert on_us < 100
