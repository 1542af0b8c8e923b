"""`loomproof box-check` as its users see it."""

import json

import pytest
from typer.testing import CliRunner

from loomproof.cli.app import build_app
from loomproof_sim.controller import supervision

SIM = "sim://?clock=virtual"
JOB = "examples/bench-relays-lamps-stepper.toml"


@pytest.fixture
def command():
    def run(*words, typed=""):
        return CliRunner().invoke(build_app(), ["box-check", *words], input=typed)

    return run


def test_a_sound_box(command):
    done = command("--box", SIM, "--only", "stop-stops", "--only", "tells-who-it-is")
    assert done.exit_code == 0
    assert "2 kept, 0 broken, 0 not run" in done.stdout
    assert "What the line cannot show" in done.stdout


def test_a_broken_box_is_told_what_it_did_and_where_to_look(command, monkeypatch):
    monkeypatch.setattr(supervision, "HEARTBEAT_TIMEOUT_NS", 700_000_000)
    done = command("--box", SIM, "--only", "heartbeat-loss-stops")
    assert done.exit_code == 1
    text = " ".join(done.stdout.split())
    assert "broken heartbeat-loss-stops" in text
    assert "400 ms without a heartbeat" in text
    assert "docs/protocol.md, Heartbeat" in text
    assert "timer interrupt" in text


def test_json(command):
    done = command("--box", SIM, "--json", "--only", "stop-stops", "--only", "bridge-drives")
    told = json.loads(done.stdout)
    assert done.exit_code == 0
    assert told["counts"] == {"kept": 1, "broken": 0, "not run": 1}
    assert [case["case"] for case in told["cases"]] == ["stop-stops", "bridge-drives"]
    assert told["cases"][0]["refusals"] == ["stopped"]
    assert told["simulated"] is True


def test_not_run_counts_when_asked_to(command):
    assert command("--box", SIM, "--only", "bridge-drives").exit_code == 0
    assert command("--box", SIM, "--only", "bridge-drives", "--complete").exit_code == 1


def test_nothing_there(command):
    done = command("--box", "socket://127.0.0.1:9")
    assert done.exit_code == 3
    assert "127.0.0.1:9" in done.stderr


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--only", "nonsense"), "--list names them all"),
        (("--job", "missing.toml"), "missing.toml"),
        (("--job", JOB, "--channel", "16"), "channel 16 is not a harmless channel"),
    ],
)
def test_wrong_usage(command, words, says):
    done = command("--box", SIM, *words)
    assert done.exit_code == 2
    assert says in done.stderr


def test_channels_alone_need_the_typed_word(command):
    done = command("--box", "/dev/no-such-port", "--channel", "3", typed="yes\n")
    assert done.exit_code == 2
    assert "WARNING" in done.stderr
    assert "nothing was driven" in done.stderr
    done = command("--box", "/dev/no-such-port", "--channel", "3", typed="Dummy loads\n")
    assert done.exit_code == 3, "confirmed, it goes on to open the port"


def test_the_list(command):
    done = command("--box", SIM, "--list")
    assert done.exit_code == 0
    assert "heartbeat-loss-stops" in done.stdout
