"""The four-channel board: what it says of itself, what it leaves out, and a loom proven on it."""

import pytest

from loomproof_cosim.board_config import eeprom_image
from loomproof_cosim.boards import SIXTEEN, board_of
from loomproof_cosim.elf_box import build_elf_box
from loomproof_cosim.library import CosimError
from loomproof_cosim.parity import Loom, differences, prove_firmware, prove_simulated
from loomproof_sim.scenario import make_scenario
from loomproof_wire import messages
from loomproof_wire.messages import ChannelKind, Configure, Hazard, LoadClass, Refusal
from testbed.firmware import SESSION, Console

JOB = """
schema_version = 1
setting = "bench"
ambient_c = 21
[identity]
title = "Four loads"
job_number = "LP-0098"
[[connectors]]
id = "H1"
name = "Board header"
cavities = 16
[[feeds]]
id = "F1"
name = "Board feed"
terminal = "87"
fuse_a = 15
section_mm2 = 1.0
length_m = 0.5
"""
LOADS = {1: "relay_plain", 2: "injector_high", 3: "lamp_5w", 4: "valve_purge"}


@pytest.fixture(scope="module")
def elf(built):
    return built / "loomproof-atmega328p.elf"


@pytest.fixture
def job(tmp_path):
    text = JOB
    for channel, load in LOADS.items():
        text += f'[[locations]]\nid = "p{channel}"\nname = "{load}"\nplace = "board, {channel}"\n'
        text += f'[[channels]]\nchannel = {channel}\nname = "load {channel}"\ncavity = "H1-{channel}"\n'
        text += f'wire = "BU"\nsection_mm2 = 0.5\nlength_m = 1.0\nload = "{load}"\nfeed = "F1"\n'
        text += f'location = "p{channel}"\n'
    path = tmp_path / "four.toml"
    path.write_text(text)
    return path


def test_it_has_four_channels_and_no_half_bridge_whatever_its_eeprom_says(elf):

    scenario = make_scenario({"clock": "virtual"})
    box = build_elf_box(scenario, elf)
    kinds = {1: ChannelKind.HALF_BRIDGE, 2: ChannelKind.HALF_BRIDGE, 3: ChannelKind.HIGH_SIDE}
    box.controller.part.write_eeprom(0, eeprom_image(kinds, "FOUR", scenario.board))
    box.run_for(0.02)
    console = Console(box)
    identity = console.greet()
    assert (identity.board, identity.serial_number, identity.channel_count) == ("four", "FOUR", 4)
    told = [console.ask(messages.GetChannel(channel)).channel_kind for channel in range(1, 5)]
    low = ChannelKind.LOW_SIDE
    assert told == [low, low, ChannelKind.HIGH_SIDE, low]
    for channel in (1, 2):
        console.ask(Configure(channel, LoadClass.MOTOR, Hazard.MOTION, 0, 1000, 100, 900, 1, 1000, 0))
    refused = console.ask(messages.DriveBridge(1, 2, 50, 200, 500, 1, 0))
    assert (refused.reason, refused.detail) == (Refusal.WRONG_KIND, 1)
    longer = messages.DriveTrain(3, 1, 10_000, 1000, 1, 1, identity.max_trace_samples + 1)
    refused = console.ask(longer)
    assert (refused.reason, refused.detail) == (Refusal.OUT_OF_RANGE, 6)
    assert console.ask(messages.GetChannel(5)).reason is Refusal.NO_SUCH_CHANNEL
    console.send(messages.Heartbeat(SESSION))
    box.controller.part.close()


def test_a_loom_is_proven_on_it_as_on_the_simulated_box(elf, job):

    loom = Loom(job, ("open:2",))
    simulated, firmware = prove_simulated(loom), prove_firmware(loom, elf)
    assert [str(one) for one in differences(simulated, firmware)] == []
    found = {channel: str(verdict) for channel, verdict in firmware.verdicts.items()}
    assert found == {1: "pass", 2: "fail", 3: "pass", 4: "pass"}
    assert firmware.unfinished == ()
    assert firmware.mishaps
    assert not any(firmware.mishaps.values())


def test_a_file_that_is_no_firmware_of_a_board_is_named(tmp_path):

    file = tmp_path / "one.elf"
    with pytest.raises(CosimError, match="make firmware"):
        board_of(file)
    file.write_bytes(b":100000000C94")
    with pytest.raises(CosimError, match="not an ELF file"):
        board_of(file)
    header = bytearray(b"\x7fELF" + bytes(48))
    for flags, error in ((6, None), (0x86, None), (102, "another part")):
        header[36:40] = flags.to_bytes(4, "little")
        file.write_bytes(header)
        if error is None:
            assert board_of(file) is SIXTEEN
        else:
            with pytest.raises(CosimError, match=error):
                board_of(file)
