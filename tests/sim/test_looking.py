"""Sense pulses, the scan and the watch."""

from typing import Any

import numpy as np
import pytest

from loomproof_wire import messages as wire
from loomproof_wire.messages import EndReason, Hazard, LoadClass, Refusal

MS, US = 1_000_000, 1_000


def test_a_sense_pulse_needs_no_arming_and_gives_a_trace(console: Any) -> None:
    console.configure(1, LoadClass.INJECTOR)
    console.ask(wire.Sense(1, 80, 12))
    console.run(5)
    assert console.plant.on_times(1) == [(0, 80 * US)]
    (ready,) = console.events(wire.TraceReady)
    assert (ready.sample_count, ready.on_time_us) == (12, 80)
    assert console.events(wire.DriveEnded) == [wire.DriveEnded(1, 1, EndReason.COMPLETE)]


def test_a_sense_pulse_is_capped(console: Any) -> None:
    console.configure(1, max_sense_us=60)
    assert console.refusal(wire.Sense(1, 61, 5)) == (Refusal.OVER_ON_TIME, 60)
    console.configure(1, max_sense_us=0)
    assert console.refusal(wire.Sense(1, 10, 5)) == (Refusal.OVER_ON_TIME, 0)


@pytest.mark.parametrize("supply_v", [9.0, 12.0, 13.5, 15.9])
def test_a_sense_pulse_stores_at_most_0_1_mj_in_a_coil(new_console: Any, supply_v: float) -> None:
    # E = (V*t)**2/(2*L) of an inductor that starts empty (circuits textbook); 1 mH is half the lowest primary
    # of the trade's 2-8 mH (common practice, no source)
    console = new_console(supply_v=supply_v)
    console.open()
    console.configure(1, LoadClass.COIL, max_sense_us=200)
    reason, cap_us = console.refusal(wire.Sense(1, 200, 5))
    assert reason is Refusal.OVER_ON_TIME
    energy_j = (supply_v * cap_us * 1e-6) ** 2 / (2 * 1e-3)
    assert 0.09e-3 < energy_j <= 0.1e-3
    console.ask(wire.Sense(1, cap_us, 5))


def test_a_high_supply_shortens_every_sense_pulse(new_console: Any) -> None:
    console = new_console(supply_v=15.5)
    console.open()
    console.configure(1, max_sense_us=100)
    assert console.refusal(wire.Sense(1, 81, 5)) == (Refusal.OVER_ON_TIME, 80)


def test_a_scan_pulses_one_channel_after_the_other(console: Any) -> None:
    console.configure(1, LoadClass.INJECTOR)
    console.configure(3, max_sense_us=50)
    assert console.send(wire.Scan(0b1111, 80)) is None
    console.run(20)
    (result,) = console.events(wire.ScanResult)
    assert result.sensed_mask == 0b101  # 2 and 4 are not configured
    assert console.plant.on_times(1) == [(0, 80 * US)]
    ((on, off),) = console.plant.on_times(3)
    assert on >= 80 * US
    assert off - on == 50 * US
    info = console.ask(wire.GetChannel(1))
    drain_v = np.array(result.drain_counts[:4]) * info.drain_uv_per_count * 1e-6
    assert drain_v == pytest.approx([13.5] * 4, abs=0.12)
    assert result.drain_counts[4:] == (0,) * 12
    ampere = (result.fine_counts[0] - info.fine_offset_counts_x100 / 100) * info.fine_na_per_count * 1e-9
    assert ampere == pytest.approx(13.5 / 14 * -np.expm1(-0.08), abs=0.006)


def test_a_passive_scan_works_while_stopped_and_drives_nothing(console: Any) -> None:
    console.ask(wire.Stop())
    assert console.ask(wire.Scan(0xFFFF, 0)).sensed_mask == 0
    assert console.plant.log == []
    assert console.refusal(wire.Scan(0xFFFF, 50))[0] is Refusal.STOPPED


def test_a_scan_that_is_broken_off_gives_no_result(console: Any) -> None:
    console.configure(1)
    console.send(wire.Scan(0b1, 80))
    console.box.advance_to(10 * US)
    console.ask(wire.Stop())
    assert console.events(wire.ScanResult) == []
    assert any(isinstance(m, wire.Refused) and m.request_kind == wire.Scan.KIND for m in console.heard)
    assert console.plant.on_times(1) == [(0, 10 * US)]


@pytest.mark.parametrize("held", [0, 1])
def test_a_watch_tells_dropouts(console: Any, held: int) -> None:
    console.configure(1, max_hold_ms=10_000)
    console.plant.away = [(1, 0.300, 0.305), (1, 0.6, 0.6005)]
    console.ask(wire.Watch(1, held, 1000, 10_000, 300))
    console.run(1200)
    first, second = console.events(wire.Dropout)
    sample_us = 4 * 26  # the sample clock nearest to 10 kHz
    assert first.start_us == pytest.approx(300_000, abs=sample_us)
    assert first.length_us == pytest.approx(5000, abs=2 * sample_us)
    assert second.length_us == pytest.approx(500, abs=2 * sample_us)
    assert first.depth_permille > 950
    assert len(console.plant.on_times(1)) == held
    assert console.events(wire.DriveEnded) == [wire.DriveEnded(1, 0, EndReason.COMPLETE)]


def test_a_load_that_holds_its_pin_at_ground_is_watched_too(console: Any) -> None:
    console.configure(1)
    console.plant.held_v = 0.05
    console.plant.away = [(1, 0.300, 0.305)]
    console.ask(wire.Watch(1, 0, 1000, 5000, 300))
    console.run(1100)
    (dropout,) = console.events(wire.Dropout)
    assert dropout.start_us == pytest.approx(300_000, abs=200)
    assert dropout.length_us == pytest.approx(5000, abs=400)
    assert dropout.depth_permille > 900


def test_a_sound_contact_drops_nothing_out(console: Any) -> None:
    console.configure(1, max_hold_ms=10_000)
    console.ask(wire.Watch(1, 1, 5000, 10_000, 20))
    console.run(5100)
    assert console.events(wire.Dropout) == []


def test_a_dropout_still_on_at_the_end_is_told(console: Any) -> None:
    console.configure(1)
    console.plant.away = [(1, 0.9, 9.0)]
    console.ask(wire.Watch(1, 0, 1000, 5000, 300))
    console.run(1100)
    (dropout,) = console.events(wire.Dropout)
    assert dropout.length_us == pytest.approx(100_000, abs=400)


def test_a_held_watch_needs_arming_and_keeps_to_the_hold(console: Any) -> None:
    console.configure(1, LoadClass.VALVE, Hazard.FUEL, max_hold_ms=500)
    assert console.refusal(wire.Watch(1, 1, 400, 1000, 300)) == (Refusal.NOT_ARMED, Hazard.FUEL)
    console.ask(wire.Arm(Hazard.FUEL, 5000))
    assert console.refusal(wire.Watch(1, 1, 501, 1000, 300))[0] is Refusal.OVER_ON_TIME
    console.ask(wire.Watch(1, 1, 500, 1000, 300))
