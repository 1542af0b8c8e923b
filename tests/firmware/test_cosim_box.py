"""The unmodified firmware in its simulated part: what it guarantees, in cycles of 62.5 ns.

Limits: docs/protocol.md (heartbeat, stop, over-current) and the project's own figures (edges within 1 us,
everything off within 100 us of a stop frame's last byte).
"""

import numpy as np
import pytest
import serial

from loomproof.box.connect import connect
from loomproof_cosim.elf_box import build_elf_box
from loomproof_sim.scenario import make_scenario
from loomproof_wire import messages
from loomproof_wire.messages import BoxState, Configure, EndReason, Hazard, LoadClass, StopReason
from testbed.approve_without_asking import unasked_train
from testbed.firmware import MS, RELAY, SESSION, US, Console, channel_edges, ready, symbol


@pytest.fixture
def box(built):

    made = build_elf_box(make_scenario({"clock": "virtual"}), built / "loomproof-atmega2560.elf")
    made.run_for(0.02)
    yield made
    counters = made.controller.part.counters
    assert (counters.rx_overruns, counters.tx_lost, counters.resets, counters.halted) == (0, 0, 0, 0)
    made.controller.part.close()


@pytest.fixture
def console(box):
    made = Console(box)
    made.greet()
    return made


def test_it_boots_with_every_gate_low(box):
    box.run_for(1.0)
    for edge in box.controller.part.edges():
        if edge.port in "ACLK":
            assert edge.levels == 0


def test_the_console_connects_to_it(built):

    if "loomproof_cosim.urls" not in serial.protocol_handler_packages:
        serial.protocol_handler_packages.append("loomproof_cosim.urls")
    elf = built / "loomproof-atmega2560.elf"
    with connect(f"avr://?elf={elf}&clock=virtual", auto_call_in=True) as box:
        assert box.identity.channel_count == 16
        assert box.identity.simulated == 1
        assert box.warnings == ()
        status = box.status()
        assert status.state is BoxState.IDLE
        assert status.supply_mv == pytest.approx(13_500, abs=200)
        assert status.board_temperature_dc == pytest.approx(310, abs=10)
        box.configure(Configure(RELAY, LoadClass.RELAY, Hazard.NONE, 0, 5000, 0, 900, 10, 5000, 100))
        box.verify_configuration()
        outcome = box.drive(
            unasked_train(RELAY, count=3, period_us=20_000, on_time_us=4_000, every=1, samples=40)
        )
        assert (outcome.pulses, outcome.reason) == (3, EndReason.COMPLETE)
        assert len(outcome.traces) >= 1


def test_a_lost_heartbeat_switches_off_in_400_to_410_ms(console):
    ready(console)
    console.ask(messages.DriveHold(RELAY, 5000, 1, 0))
    console.send(messages.Heartbeat(SESSION))
    console.listen(0.01)
    last = console.part.last_rx_cycle
    console.listen(0.6)
    _, off = channel_edges(console.part, RELAY)
    assert 400 * MS <= off - last <= 410 * MS
    assert console.said(messages.Stopped)[-1].reason is StopReason.HEARTBEAT


def test_a_stop_frame_switches_off_within_100_us_of_its_last_byte(console):
    ready(console)
    console.ask(messages.DriveHold(RELAY, 5000, 1, 200))
    console.send(messages.Stop())
    console.listen(0.02)
    last = console.part.last_rx_cycle
    _, off = channel_edges(console.part, RELAY)
    assert 0 < off - last < 100 * US
    assert console.said(messages.Stopped)[-1].reason is StopReason.COMMAND


def test_the_stop_contact_latches_a_stop(console):
    ready(console)
    console.ask(messages.DriveHold(RELAY, 5000, 1, 0))
    console.box.hands.stop_input(True)
    console.listen(0.02)
    assert console.said(messages.Stopped)[-1].reason is StopReason.STOP_INPUT
    assert len(channel_edges(console.part, RELAY)) == 2


def test_over_current_trips_within_a_conversion_of_its_sample(console):
    ready(console, max_current_ma=60)
    console.ask(messages.DriveHold(RELAY, 200, 1, 0))
    console.beat(0.3)
    on, off = channel_edges(console.part, RELAY)
    times_s = on / 16e6 + np.arange(0, 20e-3, 1e-6)
    plant = console.box.plant
    current_a = plant.load_current(RELAY, times_s[times_s < off / 16e6])
    count_a = 2.0 / (1023 - 16)  # of the fine range, to which the box can keep a limit
    crossed = on + int(np.argmax(np.abs(current_a) > 0.060 + count_a)) * US
    assert console.said(messages.Trip)[-1].channel == RELAY
    held = next(edge.held for edge in console.part.edges() if edge.cycle == off)
    assert off - held <= (13 + 20) * US  # one conversion and 20 us after the sample
    assert off - crossed <= (64 + 13 + 20) * US  # which comes within a sample set


@pytest.mark.parametrize(
    ("count", "period_us", "on_time_us", "every"),
    [(20, 20_000, 3_000, 1), (3, 200_000, 100_000, 1), (200, 500, 200, 50), (200, 1_000, 100, 5)],
)
def test_a_train_with_traces_is_as_asked_within_1_us(console, count, period_us, on_time_us, every):
    ready(console)
    reply = console.ask(messages.DriveTrain(RELAY, count, period_us, on_time_us, every, 1, 30))
    assert isinstance(reply, messages.Ack), reply
    console.beat(count * period_us / 1e6 + 0.1)
    ended = console.said(messages.DriveEnded)[-1]
    assert (ended.pulses, ended.reason) == (count, EndReason.COMPLETE)
    edges = channel_edges(console.part, RELAY)
    assert len(edges) == 2 * count
    assert np.abs(edges[1::2] - edges[::2] - on_time_us * US).max() <= US
    assert np.abs(np.diff(edges[::2]) - period_us * US).max() <= US


@pytest.mark.parametrize("held", [0, 1])
def test_the_fastest_watch_leaves_the_main_loop_alive(console, held):
    ready(console)
    assert isinstance(console.ask(messages.Watch(RELAY, held, 2000, 10_000, 300)), messages.Ack)
    console.beat(1.0)
    assert console.ask(messages.GetStatus()).state is BoxState.SENSING
    console.beat(1.5)
    assert console.said(messages.DriveEnded)[-1].reason is EndReason.COMPLETE
    assert console.said(messages.Dropout) == []


def test_a_program_run_away_ends_with_everything_off(built):

    box = build_elf_box(make_scenario({"clock": "virtual"}), built / "loomproof-atmega2560.elf")
    box.run_for(0.02)
    console = Console(box)
    console.greet()
    ready(console)
    console.ask(messages.DriveHold(RELAY, 5000, 1, 0))
    gone = console.part.cycle
    console.part.jump(symbol(built / "loomproof-atmega2560.elf", "__stop_program"))
    console.listen(0.2)
    assert console.part.counters.resets == 1
    _, off = channel_edges(console.part, RELAY)
    assert off - gone <= 130 * MS
    console.heard.clear()
    identity = console.greet()
    assert identity.channel_count == 16
    status = console.ask(messages.GetStatus())
    assert status.stop_reason is StopReason.WATCHDOG
