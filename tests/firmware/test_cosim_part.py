"""The shim against a small program of our own: instants, bytes, conversions, resets.

Expectations from the ATmega2560 datasheet (chapters USART, ADC, 16 bit timers), from memory: ten bit times a
byte at 8N1; counts = volts * 1024 / 5 with transitions at half counts ("ADC accuracy definitions": the ideal first
transition lies at 0.5 LSB); two received bytes and one in the shift register before one is lost.
"""

import subprocess
from pathlib import Path

import numpy as np
import pytest

from loomproof_cosim.library import CosimError
from loomproof_cosim.part import AvrPart

MS = 16_000


@pytest.fixture(scope="module")
def probe_elf(shim, tmp_path_factory):
    elf = tmp_path_factory.mktemp("probe") / "probe.elf"
    source = Path(__file__).with_name("echo_probe.c")
    command = [
        "avr-gcc",
        "-mmcu=atmega2560",
        "-DF_CPU=16000000UL",
        "-Os",
        "-std=gnu11",
        "-o",
        str(elf),
        str(source),
    ]
    subprocess.run(command, check=True)
    return elf


@pytest.fixture
def asked():
    return []


@pytest.fixture
def part(probe_elf, asked):

    def volts(number, cycles):
        asked.append((number, tuple(cycles)))
        return np.full(len(cycles), 1.25 if number == 9 else 3.7)

    made = AvrPart(probe_elf, "atmega2560", volts=volts)
    yield made
    made.close()


def test_bytes_come_back_ten_bit_times_after_they_arrived(part):
    part.run_to(1 * MS)
    assert part.take() == b"P"
    part.send(b"x")
    part.run_to(2 * MS)
    assert part.take() == b"x"
    assert 640 <= part.last_tx_cycle - part.last_rx_cycle < 640 + 80


def test_a_long_line_arrives_at_the_pace_of_the_baud_rate(part):
    part.run_to(MS)
    part.take()
    began = part.cycle
    part.send(bytes(range(120, 220)))
    part.run_to(began + 100 * 640 + MS)
    assert part.take() == bytes(range(120, 220))
    assert part.last_rx_cycle - began == pytest.approx(100 * 640, abs=2)
    assert part.counters.rx_overruns == 0


def test_bytes_that_nobody_reads_are_counted_as_lost(part):
    part.run_to(MS)
    part.send(b"w" + b"zzzzz")  # it hangs after the first; two and one fit
    part.run_to(2 * MS)
    assert part.counters.rx_overruns == 2


def test_edges_are_exact(part):
    part.run_to(50 * MS)
    edges = [edge for edge in part.edges() if edge.port == "A"]
    gaps = np.diff([edge.cycle for edge in edges])
    assert len(edges) > 90
    assert np.abs(gaps - 8000).max() <= 4  # an interrupt waits for the instruction under way or for waking up
    assert [edge.levels for edge in edges[:4]] == [1, 0, 1, 0]


@pytest.mark.parametrize(("command", "number", "volts"), [(b"a", 9, 1.25), (b"b", 3, 3.7)])
def test_a_conversion_reads_any_of_the_sixteen_inputs(part, asked, command, number, volts):
    part.run_to(MS)
    part.take()
    for _ in range(2):
        part.send(command)
        part.run_to(part.cycle + MS)
        assert int.from_bytes(part.take(), "little") == round(volts / 5 * 1024)
    assert {one for one, _ in asked} == {number}


def test_noise_is_as_large_as_asked_and_the_same_again(part):
    part.run_to(MS)
    part.take()

    def read_many(seed):
        part.set_noise(2.0, seed)
        counts = []
        for _ in range(400):
            part.send(b"a")
            part.run_to(part.cycle + MS)
            counts.append(int.from_bytes(part.take(), "little"))
        return np.array(counts)

    first = read_many(7)
    assert first.mean() == pytest.approx(256, abs=5 * 2.0 / np.sqrt(400))
    # rounding adds a variance of 1/12 (JCGM 100:2008, F.2.2.1); a sample of 400 is good to 3.5 % (one sigma)
    assert first.std() == pytest.approx(np.sqrt(4 + 1 / 12), rel=0.15)
    assert (read_many(7) == first).all()
    assert (read_many(8) != first).any()


def test_the_watchdog_resets_and_its_pins_go_low(part):
    part.run_to(MS)
    part.take()
    part.send(b"w")
    part.run_to(40 * MS)
    assert part.counters.resets == 1
    assert part.take() == b"W"


def test_an_input_pin_is_seen_and_kept_over_a_reset(part):
    part.set_input("D", 2, True)
    part.run_to(MS)
    part.send(b"iw")
    part.run_to(40 * MS)
    part.send(b"i")
    part.run_to(41 * MS)
    assert part.take() == b"P1W1"


def test_a_missing_program_is_told(shim, tmp_path):

    with pytest.raises(CosimError, match="make firmware"):
        AvrPart(tmp_path / "none.elf", "atmega2560", volts=lambda number, cycles: cycles * 0.0)
