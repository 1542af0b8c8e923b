"""The scan to the nanosecond and to the count, on a board without noise and errors."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from loomproof_sim.controller.controller import Controller
from loomproof_sim.plant.spec import Drive
from loomproof_sim.profiles import REFERENCE
from loomproof_wire import messages as wire
from loomproof_wire.frames import encode_frame
from loomproof_wire.messages import BoxState, ChannelKind, LoadClass, Refusal

MS, US = 1_000_000, 1_000
EXACT = replace(REFERENCE, noise_counts=0.0, gain_u_relative=0.0, offset_spread_counts=0.0)


@pytest.fixture
def bench(new_console: Any) -> Any:
    """A console at an exact board, opened at 1 s, each load of another resistance."""
    console = new_console(EXACT)
    console.open()
    console.run(1000)
    for channel in range(1, 17):
        console.plant.ohm[channel] = 5.0 + channel
    console.heard.clear()
    return console


def scan(bench: Any, mask: int, on_time_us: int, *, ms: float = 20.0) -> wire.ScanResult:
    bench.send(wire.Scan(mask, on_time_us))
    bench.run(ms)
    (result,) = bench.events(wire.ScanResult)
    return result


def current_a(bench: Any, channel: int, on_us: float, supply_v: float = 13.5) -> float:
    """First-order R-L circuit (circuits textbook); a scan reads it 1 us before the end."""
    ohm, henry = bench.plant.ohm[channel], bench.plant.henry[channel]
    return supply_v / ohm * -np.expm1(-on_us * 1e-6 * ohm / henry)


def fine_count(bench: Any, channel: int, ampere: float) -> int:
    info = bench.ask(wire.GetChannel(channel))
    return round(ampere / (info.fine_na_per_count * 1e-9) + info.fine_offset_counts_x100 / 100)


def wide_count(bench: Any, channel: int, ampere: float) -> int:
    info = bench.ask(wire.GetChannel(channel))
    return round(ampere / (info.wide_na_per_count * 1e-9) + info.wide_offset_counts_x100 / 100)


def test_each_channel_has_its_millisecond_and_its_own_counts(bench: Any) -> None:
    for channel, cap_us in ((2, 200), (5, 60), (16, 0), (12, 200)):
        bench.configure(channel, max_sense_us=cap_us)
    began_ns = bench.box.now_ns
    result = scan(bench, 1 << 1 | 1 << 4 | 1 << 11 | 1 << 15, 150)
    assert (result.mask, result.on_time_us) == (1 << 1 | 1 << 4 | 1 << 11 | 1 << 15, 150)
    assert result.sensed_mask == 1 << 1 | 1 << 4 | 1 << 11
    for number, (channel, width_us) in enumerate(((2, 150), (5, 60), (12, 150))):
        on_ns = began_ns + number * MS
        assert bench.plant.on_times(channel) == [(on_ns, on_ns + width_us * US)]
        ampere = current_a(bench, channel, width_us - 1)
        assert result.fine_counts[channel - 1] == fine_count(bench, channel, ampere)
        assert result.wide_counts[channel - 1] == wide_count(bench, channel, ampere)
    assert {drive for _, _, drive in bench.plant.log} == {Drive.ON, Drive.OFF}
    rest = round(13.5 / (bench.ask(wire.GetChannel(2)).drain_uv_per_count * 1e-6))
    asked = (2, 5, 12, 16)
    assert result.drain_counts == tuple(rest if n in asked else 0 for n in range(1, 17))
    assert [n for n in range(1, 17) if result.fine_counts[n - 1]] == [2, 5, 12]
    assert [n for n in range(1, 17) if result.wide_counts[n - 1]] == [2, 5, 12]
    info = bench.ask(wire.GetChannel(1))
    assert result.supply_counts == round(13.5 / (info.supply_uv_per_count * 1e-6))


def test_the_answer_comes_when_the_last_millisecond_is_over(bench: Any) -> None:
    bench.configure(1, max_sense_us=80)
    bench.configure(2, max_sense_us=80)
    assert bench.send(wire.Scan(0b11, 80)) is None
    bench.box.advance_to(bench.box.now_ns + 2 * MS - 1)
    bench.pump()
    assert bench.events(wire.ScanResult) == []
    bench.box.advance_to(bench.box.now_ns + 1)
    bench.pump()
    assert len(bench.events(wire.ScanResult)) == 1


def test_a_channel_is_looked_at_in_its_own_millisecond(bench: Any) -> None:
    """The contact of channel 3 is open around the second millisecond alone, and that of channel 4 before it."""
    bench.configure(1, max_sense_us=80)
    bench.configure(3, max_sense_us=80)
    began_s = bench.box.now_ns / 1e9
    bench.plant.away = [(3, began_s + 0.9e-3, began_s + 1.05e-3), (1, began_s - 1e-4, began_s + 1e-4)]
    result = scan(bench, 0b101, 80)
    open_v = round(2.5 / (bench.ask(wire.GetChannel(1)).drain_uv_per_count * 1e-6))
    assert [result.drain_counts[n] for n in (0, 2)] == [open_v, open_v]
    assert result.fine_counts[2] == fine_count(bench, 3, current_a(bench, 3, 79))


def test_the_supply_is_read_at_its_time(bench: Any) -> None:
    """13.5 V until the scan begins: the plant's supply changes a millisecond later."""
    sample = bench.plant.sample

    def sagging(channel: int, time_s: float) -> Any:
        found = sample(channel, time_s)
        found.supply_v = 13.5 if time_s < bench.began_s + 0.5e-3 else 10.0
        return found

    bench.plant.sample = sagging
    bench.began_s = bench.box.now_ns / 1e9
    bench.configure(1, max_sense_us=80)
    bench.configure(2, max_sense_us=80)
    uv = bench.ask(wire.GetChannel(1)).supply_uv_per_count
    assert scan(bench, 0b1, 0).supply_counts == round(13.5 / (uv * 1e-6))
    bench.heard.clear()
    bench.began_s = bench.box.now_ns / 1e9
    assert scan(bench, 0b11, 80).supply_counts == round(10.0 / (uv * 1e-6))


def test_a_scan_that_senses_is_the_boxs_one_activity(bench: Any) -> None:
    bench.configure(2, fuel_pump=1)
    bench.configure(5)
    bench.send(wire.Scan(0b10010, 80))
    bench.box.advance_to(bench.box.now_ns + 10 * US)
    status = bench.ask(wire.GetStatus())
    assert (status.state, status.driving_channel) == (BoxState.SENSING, 2)
    assert bench.refusal(wire.Sense(5, 50, 5)) == (Refusal.BUSY, 2)
    assert bench.send(wire.Arm(wire.Hazard.FUEL, 1000)) == wire.Ack(wire.Arm.KIND)  # a pulse runs no pump
    bench.box.advance_to(bench.box.now_ns + MS)
    assert bench.ask(wire.GetStatus()).driving_channel == 5
    bench.run(5)
    assert bench.ask(wire.GetStatus()).state is BoxState.IDLE


def test_a_channel_over_its_limit_is_latched_and_the_scan_goes_on(bench: Any) -> None:
    """A 0.1 ohm short passes 1 A in the first sample at 27 us, two before 79 us; the others are read as ever."""
    for channel in (1, 2, 3):
        bench.configure(channel, max_current_ma=1000)
    bench.plant.ohm[2], bench.plant.henry[2] = 0.1, 1e-9
    began_ns = bench.box.now_ns
    result = scan(bench, 0b111, 80)
    (trip,) = bench.events(wire.Trip)
    assert trip.channel == 2
    assert bench.plant.on_times(2) == [(began_ns + MS, began_ns + MS + 27 * US)]
    assert bench.plant.on_times(3) == [(began_ns + 2 * MS, began_ns + 2 * MS + 80 * US)]
    assert result.sensed_mask == 0b111
    assert result.fine_counts[1] == 1023
    assert result.wide_counts[1] == 1023
    assert result.fine_counts[2] == fine_count(bench, 3, current_a(bench, 3, 79))
    assert bench.ask(wire.GetStatus()).tripped_mask == 0b10
    bench.heard.clear()
    again = scan(bench, 0b111, 80)
    assert again.sensed_mask == 0b101  # a latched channel is not pulsed
    assert len(bench.plant.on_times(2)) == 1
    assert again.fine_counts[1] == again.wide_counts[1] == 0


@pytest.mark.parametrize(("limit_ma", "trips"), [(19, True), (20, False)])
def test_the_limit_is_that_of_the_channel(bench: Any, limit_ma: int, trips: bool) -> None:
    """13.5 V over 675 ohm are 20 mA, reached at once."""
    bench.plant.ohm[4], bench.plant.henry[4] = 675.0, 1e-9
    bench.configure(4, max_current_ma=limit_ma)
    scan(bench, 0b1000, 80)
    assert bool(bench.events(wire.Trip)) is trips


def test_a_scan_that_is_broken_off_is_off_at_once_and_refused(bench: Any) -> None:
    bench.configure(1)
    began_ns = bench.box.now_ns
    bench.send(wire.Scan(0b1, 80))
    asked = bench.sequence
    bench.box.advance_to(began_ns + 30 * US)
    bench.sequence += 1
    bench.box.receive(encode_frame(bench.sequence, wire.Cancel()))
    replies = dict(bench.pump())
    assert replies[asked] == wire.Refused(wire.Scan.KIND, Refusal.STOPPED, 0)
    assert bench.plant.on_times(1) == [(began_ns, began_ns + 30 * US)]
    bench.run(5)
    assert bench.events(wire.ScanResult) == []


def test_a_trip_while_it_is_broken_off_is_still_a_trip(bench: Any) -> None:
    bench.configure(1, max_current_ma=1000)
    bench.plant.ohm[1], bench.plant.henry[1] = 0.1, 1e-9
    bench.send(wire.Scan(0b1, 80))
    bench.box.advance_to(bench.box.now_ns + 30 * US)
    bench.ask(wire.Cancel())
    assert [trip.channel for trip in bench.events(wire.Trip)] == [1]


def test_a_scan_of_channels_that_the_box_lacks_leaves_them_out(new_console: Any) -> None:
    console = new_console(replace(EXACT, channel_count=4))
    console.open()
    console.configure(4)
    console.send(wire.Scan(0xFFFF, 80))
    console.run(20)
    (result,) = console.events(wire.ScanResult)
    assert result.sensed_mask == 0b1000
    assert [bool(count) for count in result.drain_counts] == [True] * 4 + [False] * 12


def test_a_load_that_is_not_configured_is_only_looked_at(bench: Any) -> None:
    bench.configure(1, LoadClass.NONE)
    result = scan(bench, 0b11, 200)
    assert result.sensed_mask == 0
    assert result.fine_counts == result.wide_counts == (0,) * 16
    assert all(result.drain_counts[:2])


# -- over-current as every activity reports it ---------------------------------------------------------


@pytest.mark.parametrize(
    ("ampere", "current_ma"),
    [
        (0.0124, 12),
        (0.0126, 13),
        (1.0, 1000),
        (65.534, 65_534),
        (65.535, 65_535),
        (65.536, 65_535),
        (900.0, 65_535),
    ],
)
def test_a_trip_is_reported_in_milliampere_up_to_the_highest_number(
    bench: Any, ampere: float, current_ma: int
) -> None:
    parts = bench.box.machine.parts
    parts.outputs.set(3, Drive.ON, bench.box.now_ns)
    parts.trip(3, ampere, bench.box.now_ns + 5)
    bench.pump()
    assert bench.events(wire.Trip) == [wire.Trip(3, current_ma)]
    assert bench.plant.on_times(3) == [(bench.box.now_ns, bench.box.now_ns + 5)]
    assert parts.tripped == {3}


# -- drivers ---------------------------------------------------------------------------------------------


def test_the_box_has_the_drivers_that_it_was_given_and_low_sides_beside(bench: Any) -> None:
    kinds = [bench.ask(wire.GetChannel(n)).channel_kind for n in range(1, 17)]
    low, high, logic, half = (
        ChannelKind.LOW_SIDE,
        ChannelKind.HIGH_SIDE,
        ChannelKind.LOGIC,
        ChannelKind.HALF_BRIDGE,
    )
    assert kinds == [low] * 12 + [high, logic, half, half]
    plain = Controller(bench.plant, EXACT)
    assert plain.machine.parts.table.kinds == dict.fromkeys(range(1, 17), low)


def test_a_box_has_as_many_drivers_as_channels_and_all_are_off(bench: Any) -> None:
    outputs = Controller(bench.plant, replace(EXACT, channel_count=4)).outputs
    assert [outputs.drive(channel) for channel in range(1, 5)] == [Drive.OFF] * 4
    for channel in (0, 5):
        with pytest.raises(KeyError):
            outputs.drive(channel)
    assert not outputs.any_on
    outputs.set(4, Drive.LOW, bench.box.now_ns)
    assert outputs.any_on
    assert bench.plant.log[-1] == (bench.box.now_ns, 4, Drive.LOW)
    outputs.all_off(bench.box.now_ns + 7)
    assert bench.plant.log[-1] == (bench.box.now_ns + 7, 4, Drive.OFF)
    before = len(bench.plant.log)
    outputs.all_off(bench.box.now_ns + 9)
    assert len(bench.plant.log) == before
