"""`list_boxes` and the `boxes` command."""

import socket

import pytest
from typer.testing import CliRunner

from loomproof.box import connect as connecting
from loomproof.box.connect import Found, list_boxes
from loomproof.cli import boxes
from loomproof.cli.app import build_app
from loomproof_sim.named_boxes import find, forget
from loomproof_wire.messages import PROTOCOL_MAJOR, BoxState, Status, StopReason

NOWHERE = "socket://127.0.0.1:1"


class Port:
    def __init__(self, device, description):
        self.device, self.description = device, description


@pytest.fixture(autouse=True)
def no_ports_of_this_machine(monkeypatch):
    monkeypatch.setattr(connecting.list_ports, "comports", list)
    monkeypatch.setenv("COLUMNS", "160")
    monkeypatch.setenv("NO_COLOR", "1")


def run(*arguments):
    return CliRunner().invoke(build_app(), ["boxes", *arguments])


def test_what_answers_and_what_does_not():
    found = list_boxes(["sim://?clock=virtual", NOWHERE, NOWHERE])
    assert [entry.url for entry in found] == ["sim://?clock=virtual", NOWHERE]
    simulated, nowhere = found
    assert simulated.identity.protocol_major == PROTOCOL_MAJOR
    assert simulated.status.state is BoxState.IDLE
    assert simulated.problem == ""
    assert nowhere.identity is None
    assert "refused" in nowhere.problem.lower()


def test_ports_of_the_machine_are_asked_unless_not_wanted(monkeypatch):
    monkeypatch.setattr(connecting.list_ports, "comports", lambda: [Port("/dev/none-such", "Some adapter")])
    (port, _) = list_boxes(["sim://?clock=virtual"])
    assert (port.url, port.description, port.identity) == ("/dev/none-such", "Some adapter", None)
    assert [entry.url for entry in list_boxes(["sim://?clock=virtual"], ports=False)] == [
        "sim://?clock=virtual"
    ]
    assert list_boxes(ports=False) == ()


def test_asking_stops_nothing():

    list_boxes(["sim://?clock=virtual&name=listed"])
    sim = find("listed")
    sim.run_for(2.0)
    (found,) = list_boxes(["sim://?clock=virtual&name=listed"])
    forget("listed")
    assert found.status.state is BoxState.IDLE


def test_the_command_shows_the_box_and_is_content():
    result = run("sim://?clock=virtual", NOWHERE)
    assert result.exit_code == 0
    assert "(simulated)" in result.output
    assert "protocol 1.0" in result.output
    assert "no box: " in result.output
    assert "supply 13.5 V" in result.output


@pytest.mark.parametrize("arguments", [[], [NOWHERE], ["--no-ports"]])
def test_the_command_says_when_nothing_answers(arguments):
    result = run(*arguments)
    assert result.exit_code == 3
    assert "No box answers" in result.output


def test_a_stopped_box_shows_why(monkeypatch):

    (found,) = list_boxes(["sim://?clock=virtual"])
    stopped = Status(1, BoxState.STOPPED, StopReason.HEARTBEAT, 1, 12_000, 200, 0, 0, 0, (0,) * 5, 4, 0, 0, 0)
    shown = [Found("here", "adapter", found.identity, stopped)]
    monkeypatch.setattr(boxes, "list_boxes", lambda *_, **__: tuple(shown))
    output = " ".join(run().output.split())
    assert "stopped: no heartbeat" in output
    assert "stop input open" in output
    assert "adapter" in output


def test_a_silent_port_is_said_to_be_silent(monkeypatch):
    monkeypatch.setattr(connecting, "_LISTING_PATIENCE_S", 0.25)

    with socket.create_server(("127.0.0.1", 0)) as listener:
        url = f"socket://127.0.0.1:{listener.getsockname()[1]}"
        (found,) = list_boxes([url])
        peer, _ = listener.accept()
        with peer:
            peer.settimeout(20)
            # The port was let go: after what was asked comes the end.
            while peer.recv(4096):
                pass
    assert found.problem == "nothing answers"
