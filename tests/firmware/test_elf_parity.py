"""The real firmware proves a loom as the simulated box does: the same run sheet, verdict by verdict, in virtual time.

`benchmarks/elf_parity.py` does it for every example, and over a pseudo-terminal in real time.
"""

import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from loomproof.box.connect import connect
from loomproof.facts.verdict import Verdict
from loomproof_cosim.parity import Loom, differences, prove_firmware, prove_simulated
from testbed.firmware import ROOT

BUILT_IN = ROOT / "firmware_sim" / "loomproof_sim" / "builtin_job.toml"
"""Six channels: two injectors, a bare coil, a relay, a valve, a lamp."""


@pytest.mark.parametrize(
    ("faults", "passed"),
    [((), {1, 2, 3, 4, 5, 6}), (("open:5", "swapped:1:2", "short_to_ground:6"), {3, 4})],
    ids=["sound", "faulty"],
)
def test_the_firmware_proves_a_loom_as_the_simulated_box_does(built, faults, passed):

    loom = Loom(BUILT_IN, faults)
    simulated = prove_simulated(loom)
    firmware = prove_firmware(loom, built / "loomproof-atmega2560.elf")
    assert "\n".join(map(str, differences(simulated, firmware))) == ""
    assert {channel for channel, verdict in firmware.verdicts.items() if verdict is Verdict.PASS} == passed
    assert set(firmware.findings) == set(simulated.findings)
    assert firmware.unfinished == simulated.unfinished
    assert set(firmware.mishaps.values()) == {0}, firmware.mishaps


def test_a_difference_is_told_with_what_it_rests_on():

    sound = prove_simulated(Loom(BUILT_IN))
    assert differences(sound, sound) == ()
    apart = differences(sound, prove_simulated(Loom(BUILT_IN, ("open:6",))))
    assert [one.channel for one in apart] == [6]
    assert str(apart[0]).startswith("channel 6: pass and fail")
    assert "continuity: pass" in str(apart[0])


def serve(elf: Path) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "loomproof_sim", "serve", "--pty", "--elf", str(elf)]
    pipe = subprocess.PIPE
    return subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=pipe, stderr=pipe, text=True)


def test_a_served_firmware_tells_at_its_end_how_it_fared(built):

    with serve(built / "loomproof-atmega2560.elf") as process:
        assert process.stdout is not None
        word, _, url = process.stdout.readline().strip().partition(" ")
        assert word == "ready"
        with connect(url, auto_call_in=True) as box:
            assert box.identity.channel_count == 16
            box.sleep(0.5)
        process.send_signal(signal.SIGTERM)
        _, said = process.communicate(timeout=30)
    assert process.returncode == 0, said
    pattern = (
        r"firmware ran [\d.]+ s in [\d.]+ s, \d+% of real time: 0 rx_overruns, 0 tx_lost, 0 resets, 0 halted"
    )
    assert re.search(pattern, said)
