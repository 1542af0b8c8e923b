"""The AVR port alone, with a core of a few lines: edges, samples, stop contact, kill path, watchdog.

Instants are simulated cycles of 62.5 ns. Limits: the project's own (pulse edges within 1 us; everything off
when the main loop hangs).
"""

import subprocess
from pathlib import Path

import numpy as np
import pytest

from loomproof_cosim.elf_box import build_elf_box
from loomproof_sim.plant.spec import Drive
from loomproof_sim.scenario import make_scenario
from testbed.firmware import MS, US, gate_edges


@pytest.fixture(scope="module")
def port_elf(shim, tmp_path_factory):
    root = shim.parents[1]
    elf = tmp_path_factory.mktemp("port") / "port.elf"
    sources = [*sorted((root / "firmware/avr").glob("*.[cS]")), Path(__file__).with_name("probe_core.c")]
    flags = [
        "-mmcu=atmega2560",
        "-DF_CPU=16000000UL",
        "-Os",
        "-std=gnu11",
        "-fshort-enums",
        "-Wall",
        "-Werror",
    ]
    includes = [f"-I{root}/firmware/core", f"-I{root}/firmware/avr"]
    subprocess.run(["avr-gcc", *flags, *includes, "-o", str(elf), *map(str, sources)], check=True)
    return elf


@pytest.fixture
def box(port_elf):

    made = build_elf_box(make_scenario({"clock": "virtual"}), port_elf)
    made.run_for(0.01)
    yield made
    counters = made.controller.part.counters
    assert counters.rx_overruns == 0
    assert counters.tx_lost == 0
    made.controller.part.close()


@pytest.mark.parametrize(
    ("command", "port", "pin", "count", "on_us", "period_us", "wait_s"),
    [(b"t", "A", 2, 20, 100, 1000, 0.03), (b"l", "C", 3, 3, 100_000, 150_000, 0.5)],
)
def test_pulses_are_as_asked(box, command, port, pin, count, on_us, period_us, wait_s):
    box.write(command)
    box.run_for(wait_s)
    edges = gate_edges(box.controller.part, port, pin)
    assert len(edges) == 2 * count
    widths, periods = edges[1::2] - edges[::2], np.diff(edges[::2])
    assert np.abs(widths - on_us * US).max() <= US
    assert np.abs(periods - period_us * US).max() <= US


def test_samples_are_those_of_the_loom(box):
    box.write(b"t")
    box.run_for(0.03)
    began = gate_edges(box.controller.part, "A", 2)[-2]
    box.write(b"r")
    box.run_for(0.02)
    said = box.read(200, 0)
    assert said[-1:] == b"e"
    sets = np.frombuffer(said[:-1], dtype="<u2").reshape(-1, 4)
    assert len(sets) == 8
    times_s = began / 16e6 + 8e-6 + 64e-6 * np.arange(8)
    current_a, _, _ = box.plant.sample_many(3, times_s)
    fine_counts = 16 + current_a * 1007 / 2.0
    wide_counts = 6 + current_a * 1017 / 20.0
    assert np.abs(sets[:, 0] - fine_counts).max() < 4
    assert np.abs(sets[:, 1] - wide_counts).max() < 4
    drain_v = box.plant.sample_many(3, times_s + 30.5e-6)[1]
    assert np.abs(sets[:, 3] - drain_v * 1023 / 60.0).max() < 12


def test_over_current_switches_off_a_conversion_and_20_us_after_its_sample(box):
    box.write(b"s")
    box.run_for(0.03)
    part = box.controller.part
    on, off = gate_edges(part, "A", 2)
    assert off - on < 19 * MS
    held = next(edge.held for edge in part.edges() if edge.cycle == off)
    assert off - held <= (13 + 20) * US
    fine_counts = 16 + box.plant.load_current(3, np.array([held / 16e6 - 64e-6, held / 16e6])) * 1007 / 2.0
    assert fine_counts[0] < 200 + 4
    assert fine_counts[1] > 200 - 4
    box.write(b"o")
    box.run_for(0.01)
    told = box.read(5, 0)
    assert told[0] == 1
    assert abs(int.from_bytes(told[1:], "little") - (off - on) / 8) <= 3


def test_the_stop_contact_cuts_the_gates_at_once_without_the_part(box):

    box.write(b"l")
    box.run_for(0.05)
    assert box.controller.circuit.drive(12) is Drive.ON
    box.hands.stop_input(True)
    assert box.controller.circuit.drive(12) is Drive.OFF
    assert (
        gate_edges(box.controller.part, "C", 3).size == 1
    )  # the pin itself is still high: no program was involved


def test_the_millisecond_acts_while_the_main_loop_hangs(box):
    box.write(b"k")
    box.run_for(0.02)
    on, off = gate_edges(box.controller.part, "A", 2)
    assert 4 * MS <= off - on <= 5 * MS
    assert box.controller.part.counters.resets == 0


@pytest.mark.parametrize(("command", "longest_ms"), [(b"k", 130), (b"h", 130)])
def test_the_watchdog_ends_a_hang_with_everything_off(box, command, longest_ms):
    box.write(command)
    box.run_for(0.15)
    edges = gate_edges(box.controller.part, "A", 2)
    assert len(edges) == 2
    assert edges[1] - edges[0] <= longest_ms * MS
    assert box.controller.part.counters.resets == 1
    assert box.read(10, 0.05) == b"W"


def test_the_box_knows_its_fitting(box):
    box.write(b"i")
    assert box.read(10, 0.05) + box.read(10, 0.05) + box.read(10, 0.05) + box.read(10, 0.05) == b"\0\1C\x10"
