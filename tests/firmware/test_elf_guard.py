"""What the real binaries of both boards do when something comes at the wrong moment, or fails. Cycles of 62.5 ns."""

import numpy as np
import pytest

from loomproof_cosim.elf_box import build_elf_box
from loomproof_sim.plant.spec import Drive
from loomproof_sim.scenario import make_scenario
from loomproof_wire import messages
from loomproof_wire.frames import encode_frame
from loomproof_wire.messages import BoxState, Configure, Hazard, LoadClass, StopReason
from testbed.firmware import MS, RELAY, SESSION, US, Console, gate_edges, ready


@pytest.fixture(params=["atmega2560", "atmega328p"])
def console(request, built):
    box = build_elf_box(make_scenario({"clock": "virtual"}), built / f"loomproof-{request.param}.elf")
    box.run_for(0.02)
    made = Console(box)
    made.greet()
    ready(made)
    yield made
    made.part.close()


CLEAR = messages.ClearStop()
BEFORE = {
    "clear": (CLEAR,),
    "busy": (messages.GetDigest(), CLEAR, messages.Arm(Hazard.HEAT, 5000)),
    "drive": (CLEAR, messages.Arm(Hazard.HEAT, 5000), messages.DriveHold(RELAY, 900, 1, 0)),
}


@pytest.mark.parametrize("before", BEFORE.values(), ids=BEFORE)
def test_what_is_sent_before_a_stop_in_one_go_does_not_undo_it(console, before):
    """Frames back to back on the line, so that the program is busy with one while the next ones come."""
    for _ in range(6):
        raw = encode_frame(0, messages.Heartbeat(SESSION))
        for message in before:
            console.sequence += 1
            raw += encode_frame(console.sequence, message)
        console.box.write(raw + encode_frame(console.sequence + 1, messages.Stop()))
        console.listen(0.02)
        status = console.ask(messages.GetStatus())
        assert (status.state, status.stop_reason) == (BoxState.STOPPED, StopReason.COMMAND)
        assert status.armed_mask == 0
        assert status.driving_channel == 0


def test_the_gates_are_enabled_only_for_a_drive(console):
    """From a millisecond before its first edge, in which the gates' supply comes up, to its end."""
    board = console.box.controller.circuit.board
    assert gate_edges(console.part, *board.enable).size == 0
    console.ask(messages.DriveTrain(RELAY, 2, 10_000, 1000, 0, 1, 0))
    console.listen(0.05)
    enabled, disabled = gate_edges(console.part, *board.enable)
    edges = gate_edges(console.part, *board.gates[RELAY - 1])
    assert MS / 2 < edges[0] - enabled < 2 * MS
    assert 0 < disabled - edges[-1] < 2 * MS
    assert console.said(messages.DriveEnded)[-1].pulses == 2


def pulses(console, request, seconds=0.02):
    """Send a request; the widths in us of the pulses at the pin."""
    pin = console.box.controller.circuit.board.gates[RELAY - 1]
    before = gate_edges(console.part, *pin).size
    console.send(messages.Heartbeat(SESSION))
    console.send(request)
    console.listen(seconds)
    edges = gate_edges(console.part, *pin)[before:]
    return (edges[1::2] - edges[::2]) / US


# Registers at the same address on both parts (their datasheets, register summary).
TIMSK1, TIMSK2, TCCR1B, ADCSRA = 0x6F, 0x70, 0x81, 0x7A


@pytest.mark.parametrize(
    ("register", "value", "reason", "within_ms"),
    [
        (TIMSK2, 0, StopReason.WATCHDOG, 130),
        (TCCR1B, 0, StopReason.TIMER, 40),
        (ADCSRA, 0, StopReason.CONVERTER, 6),
    ],
    ids=["millisecond", "clock", "converter"],
)
def test_what_fails_alone_leaves_nothing_on(console, register, value, reason, within_ms):
    """Half a second into a hold of a second, with heartbeats going on."""
    pin = console.box.controller.circuit.board.gates[RELAY - 1]
    console.ask(messages.DriveHold(RELAY, 1000, 1, 0))
    console.beat(0.5)
    failed = console.part.cycle
    for _ in range(5):  # an interrupt that was waiting may write it once more
        console.part.poke(register, value)
        console.part.run_to(console.part.cycle + 7 * US)
    for _ in range(8):
        console.send(messages.Heartbeat(SESSION))
        console.listen(0.1)
    _, off = gate_edges(console.part, *pin)
    assert off - failed <= within_ms * MS
    console.greet()
    assert console.ask(messages.GetStatus()).stop_reason is reason


def test_an_edge_that_does_not_come_ends_the_pulse(console):
    """The interrupt of the edges is lost when it has been aimed at the off edge, 5 ms ahead."""
    pin = console.box.controller.circuit.board.gates[RELAY - 1]
    console.ask(messages.DriveHold(RELAY, 100, 1, 0))
    (on,) = gate_edges(console.part, *pin)
    console.listen((on + 95 * MS - console.part.cycle) / 16e6)
    console.part.poke(TIMSK1, 0)
    console.listen(0.05)
    _, off = gate_edges(console.part, *pin)
    assert 100 * MS < off - on <= 106 * MS
    assert console.said(messages.Stopped)[-1].reason is StopReason.TIMER


WIDTHS = (10, 11, 14, 17, 20, 23, 24, 25, 27, 31, 36, 40, 50, 72, 80, 100, 150, 200)


@pytest.mark.parametrize("kind", ["scan", "sense"])
def test_a_sense_pulse_is_as_wide_as_asked_at_the_pin(console, kind):
    for width_us in WIDTHS:
        scan = messages.Scan(1 << (RELAY - 1), width_us)
        (got,) = pulses(console, scan if kind == "scan" else messages.Sense(RELAY, width_us, 8))
        assert -1.0 < got - width_us < 0.5, f"{width_us} us: {got}"


@pytest.mark.parametrize("cap_us", [12, 26, 40, 80])
def test_a_scan_keeps_the_cap_of_the_channel_at_the_pin(console, cap_us):
    console.ask(Configure(RELAY, LoadClass.RELAY, Hazard.NONE, 0, 1000, 0, 900, 1, 5000, cap_us))
    (got,) = pulses(console, messages.Scan(1 << (RELAY - 1), 200))
    assert -1.0 < got - cap_us < 0.5


def test_a_scan_gives_no_pulse_shorter_than_the_least(console):
    assert pulses(console, messages.Scan(1 << (RELAY - 1), 9)).size == 0
    result = console.said(messages.ScanResult)[-1]
    assert result.sensed_mask == 0
    assert result.drain_counts[RELAY - 1] > 100


def short_circuit(console, ohm):
    """Hang a plain resistor on the channel."""
    circuit = console.box.controller.circuit

    def sample_many(channel, times_s):
        on = circuit.drive(channel) is Drive.ON
        count = len(times_s)
        current_a = 13.5 / ohm if on else 0.0
        return np.full(count, current_a), np.full(count, 0.1 if on else 13.5), np.full(count, 13.5)

    circuit.plant.sample_many = sample_many
    console.box.controller.catch_up()


@pytest.mark.parametrize("width_us", [10, 20, 50, 80, 120])
@pytest.mark.parametrize("kind", ["scan", "sense"])
def test_over_current_is_judged_in_the_shortest_pulse(console, kind, width_us):
    """Two ohms at 13.5 V without inductance, and a limit of 1 A."""
    ready(console, max_current_ma=1000)
    short_circuit(console, 2.0)
    scan = messages.Scan(1 << (RELAY - 1), width_us)
    (got,) = pulses(console, scan if kind == "scan" else messages.Sense(RELAY, width_us, 8))
    assert got < width_us + 0.5
    assert console.said(messages.Trip)[-1].channel == RELAY
    assert console.ask(messages.GetStatus()).tripped_mask == 1 << (RELAY - 1)
