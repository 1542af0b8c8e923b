"""`loomproof prove` from the command line, on simulated boxes."""

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path
from urllib.parse import quote

import pytest
from typer.testing import CliRunner

from loomproof.cli.app import build_app
from loomproof.cli.prove.command import box_url
from loomproof.cli.prove.options import Code, Who
from loomproof.cli.prove.run import exit_code
from loomproof.facts.step import StepEnd, StepKind
from loomproof.facts.verdict import Verdict
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.records.store import RecordStore

HEAD = """
schema_version = 1
setting = "{setting}"
[identity]
title = "Small loom"
job_number = "T-7"
[[connectors]]
id = "H1"
name = "header"
cavities = 8
[[feeds]]
id = "F1"
name = "main"
terminal = "87"
[[locations]]
id = "tank"
name = "beside the tank"
[[channels]]
channel = 1
name = "purge valve"
cavity = "H1-1"
load = "valve_purge"
location = "tank"
feed = "F1"
"""
MORE = """
[engine]
cylinders = 1
layout = "inline"
firing_order = [1]
ignition = "single"
displacement_cm3 = 600
[[locations]]
id = "cyl1"
name = "cylinder 1"
cylinder = 1
[[channels]]
channel = 2
name = "injector"
cavity = "H1-2"
load = "injector_high"
location = "cyl1"
feed = "F1"
"""


@pytest.fixture
def valve_job(tmp_path):
    path = tmp_path / "valve.toml"
    path.write_text(HEAD.format(setting="bench"))
    return path


@pytest.fixture
def fuel_job(tmp_path):
    path = tmp_path / "fuel.toml"
    path.write_text(HEAD.format(setting="vehicle") + MORE)
    return path


def prove(*arguments, stdin=""):
    return CliRunner().invoke(build_app(), ["prove", *map(str, arguments)], input=stdin)


def squeezed(text):
    return re.sub(r"\s+", " ", text)


def test_a_sound_loom_passes_with_record_and_report(fuel_job, tmp_path):
    out = tmp_path / "out"
    result = prove(fuel_job, "--box", "sim://", "--operator", "simulated", "--out", out)
    assert result.exit_code == Code.PASSED, result.output
    assert "Verdict: pass" in result.output
    assert "not an emergency stop" in squeezed(result.output)
    report = (out / "report.html").read_text(encoding="utf-8")
    assert "simulated" in report
    with RecordStore(out / "records.sqlite") as store:
        (summary,) = store.list()
        record = store.read(summary.record_id)
    kinds = [step.kind for step in record.steps]
    assert kinds.count("drive") == 2
    assert kinds[-1] == "summary"
    assert [fact.kind for _, fact in record.statements] == ["loom_harmless", "fuel_isolated", "rail_dry"]


def test_a_fault_is_named_with_its_cavity(fuel_job):
    result = prove(fuel_job, "--box", "sim://?fault=open:2", "--operator", "simulated", "--quiet")
    assert result.exit_code == Code.FAULTS
    text = squeezed(result.output)
    assert "Verdict: fail" in text
    assert re.search(r"1\. Channel 2, cavity H1-2.* open", text)


def test_a_bad_job_is_told_line_by_line(tmp_path):
    path = tmp_path / "bad.toml"
    path.write_text(HEAD.format(setting="nowhere"))
    result = prove(path, "--box", "sim://", "--operator", "simulated")
    assert result.exit_code == Code.USAGE
    assert "setting" in result.output


def test_no_job_file_is_a_bad_job(tmp_path):
    assert prove(tmp_path / "none.toml", "--box", "sim://").exit_code == Code.USAGE


def test_no_box_is_no_link(valve_job, tmp_path):
    result = prove(valve_job, "--box", tmp_path / "no-such-port", "--operator", "ask")
    assert result.exit_code == Code.LINK
    assert "no link to the box" in squeezed(result.output)


def test_a_simulated_loom_that_lacks_a_place_says_that_it_is_another(valve_job):
    boat = Path(__file__).parents[2] / "examples" / "boat-four-wasted-spark.toml"
    result = prove(valve_job, "--box", f"sim://{quote(str(boat))}?clock=virtual", "--operator", "simulated")
    assert result.exit_code == Code.USAGE
    assert "not that of this job" in result.output.replace("\n", " ")
    assert "Traceback" not in result.output


def test_a_bad_simulator_url_says_what_is_wrong(valve_job):
    result = prove(valve_job, "--box", "sim://?fault=melted:1", "--operator", "simulated")
    assert result.exit_code == Code.LINK
    assert "melted" in result.output


def test_a_box_with_too_few_channels_is_usage(tmp_path, valve_job):
    path = tmp_path / "other.toml"
    path.write_text(HEAD.format(setting="bench").replace("channel = 1", "channel = 16"))
    result = prove(path, "--box", f"sim://{quote(str(valve_job))}", "--operator", "simulated")
    assert result.exit_code in (Code.USAGE, Code.FAULTS)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--box", "loop://", "--operator", "simulated"], "simulated"),
        (["--box", "sim://", "--operator", "simulated", "--hands", "nowhere"], "HOST:PORT"),
        (["--box", "sim://", "--operator", "simulated", "--hands", "127.0.0.1:1"], "nobody offers hands"),
        (["--box", "sim://", "--resume", "x"], "--resume needs --out"),
        (["--box", "sim://", "--operator", "robot"], "robot"),
        ([], "--box"),
    ],
)
def test_wrong_usage_is_told(valve_job, arguments, words):
    result = prove(valve_job, *arguments)
    assert result.exit_code in ((Code.USAGE, Code.LINK) if "loop://" in arguments else (Code.USAGE,))
    if "loop://" not in arguments:
        assert words in squeezed(result.output)


def answers(*lines):
    return "".join(f"{line}\n" for line in lines)


def test_a_person_at_a_plain_terminal(valve_job):
    """Look, pull (nothing in reach of a person's hands here), seat, flex, drive, heard."""
    stdin = answers("1", "1", "1", "1", "1", "1")
    result = prove(
        valve_job, "--box", "sim://?clock=virtual", "--operator", "ask", "--name", "RB", stdin=stdin
    )
    text = squeezed(result.output)
    assert "Pull that connector" in text
    assert "What did you notice?" in text
    assert "(heard)" in text
    assert result.exit_code == Code.FAULTS  # nobody pulled the simulated connector
    assert "Verdict: pass" not in text


HARMLESS = ("yes", "yes", "yes", "none", "RB")
"""Nothing on the loom can be set off: stated on a vehicle before the first pulse."""


def test_a_person_states_fact_by_fact(fuel_job):
    look_and_walk = ["1", *HARMLESS, "2", "no hands", "2", "no hands", "2", "no hands", "2", "no hands"]
    valve = ["1", "1"]
    fuel = ["yes", "yes", "yes", "isolated", "RB", "yes", "yes", "dry", "RB", "1", "1"]
    result = prove(
        fuel_job,
        "--box",
        "sim://?clock=virtual",
        "--operator",
        "ask",
        stdin=answers(*look_and_walk, *valve, *fuel),
    )
    text = squeezed(result.output)
    assert "DANGER" in text
    assert "the rail pressure is relieved? (yes/no)" in text
    assert 'Type the word "isolated"' in text
    assert "Drive injector (heard)" in text


@pytest.mark.parametrize("facts", [["no"], ["yes", "yes", ""], ["yes", "yes", "yes", "wrong", "RB"] * 3])
def test_a_fact_not_confirmed_blocks_the_injector(fuel_job, facts):
    stdin = answers("1", *HARMLESS, "2", "x", "2", "x", "2", "x", "2", "x", "1", "1", *facts)
    result = prove(fuel_job, "--box", "sim://?clock=virtual", "--operator", "ask", stdin=stdin)
    assert result.exit_code == Code.STOPPED
    assert "blocked" in result.output
    assert "Drive injector (" not in squeezed(result.output)


def test_the_word_stop_stops(valve_job):
    result = prove(
        valve_job, "--box", "sim://?clock=virtual", "--operator", "ask", stdin=answers("1", "stop")
    )
    assert result.exit_code == Code.STOPPED
    assert "stopped" in result.output


def test_the_end_of_the_input_leaves_and_resume_carries_on(valve_job, tmp_path):
    out = tmp_path / "out"
    url = "sim://?clock=virtual"
    first = prove(
        valve_job, "--box", url, "--operator", "ask", "--name", "RB", "--out", out, stdin=answers("1")
    )
    assert first.exit_code == Code.STOPPED
    with RecordStore(out / "records.sqlite") as store:
        (summary,) = store.list()
    second = prove(
        valve_job, "--box", "sim://", "--operator", "simulated", "--out", out, "--resume", summary.record_id
    )
    assert second.exit_code == Code.PASSED, second.output
    assert "Look at the loom" not in second.output
    with RecordStore(out / "records.sqlite") as store:
        assert len(store.list()) == 1


def test_resuming_a_record_that_is_not_there(valve_job, tmp_path):
    result = prove(
        valve_job, "--box", "sim://", "--operator", "simulated", "--out", tmp_path, "--resume", "nope"
    )
    assert result.exit_code == Code.USAGE


def start(*arguments, **more):
    code = "from loomproof.cli.app import main; main()"
    return subprocess.Popen(
        [sys.executable, "-u", "-c", code, "prove", *map(str, arguments)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        **more,
    )


def test_an_interrupt_stops_the_box_and_says_so(valve_job):
    run = start(valve_job, "--box", "sim://?clock=real", "--operator", "simulated")
    for line in run.stdout:
        if "Look at the loom" in line:
            break
    time.sleep(0.2)
    run.send_signal(signal.SIGINT)
    rest = run.stdout.read()
    assert run.wait(30) == Code.STOPPED, rest
    assert "stopped" in rest


def test_a_served_box_with_hands_from_afar(valve_job):
    serve = subprocess.Popen(
        [
            sys.executable,
            "-u",
            "-c",
            "from loomproof_sim.cli import main; main()",
            "serve",
            "--tcp",
            "127.0.0.1:0",
            "--hands",
            "127.0.0.1:0",
            "--job",
            str(valve_job),
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    try:
        url = hands = ""
        for line in serve.stdout:
            if line.startswith("hands "):
                hands = line.split()[1]
            if line.startswith("ready "):
                url = line.split()[1]
            if url and hands:
                break
        run = start(valve_job, "--box", url, "--operator", "simulated", "--hands", hands)
        said = run.stdout.read()
        assert run.wait(60) == Code.PASSED, said
        assert "(heard)" in said
    finally:
        serve.terminate()
        serve.wait(10)


def outcome(end, step_id="a"):
    return StepOutcome(
        step_id=step_id, attempt=1, kind=StepKind.DRIVE, began_s=0, ended_s=1, end=end, verdict=Verdict.PASS
    )


@pytest.mark.parametrize(
    ("ends", "verdict", "code"),
    [
        ([StepEnd.DONE], Verdict.PASS, Code.PASSED),
        ([StepEnd.DONE], Verdict.UNSURE, Code.FAULTS),
        ([StepEnd.DONE], Verdict.NOT_TESTED, Code.FAULTS),
        ([StepEnd.TRIPPED], Verdict.FAIL, Code.FAULTS),
        ([StepEnd.BLOCKED], Verdict.PASS, Code.STOPPED),
        ([StepEnd.LEFT], Verdict.FAIL, Code.STOPPED),
        ([StepEnd.STOPPED, StepEnd.LINK_LOST], Verdict.PASS, Code.LINK),
    ],
)
def test_exit_codes(ends, verdict, code):
    assert exit_code(tuple(outcome(end, str(n)) for n, end in enumerate(ends)), verdict) == code


def test_a_later_attempt_mends_an_exit_code():
    assert exit_code((outcome(StepEnd.BLOCKED), outcome(StepEnd.DONE)), Verdict.PASS) == Code.PASSED


def test_box_urls(tmp_path):
    job = tmp_path / "a job.toml"
    url = box_url("sim://", job, Who.SIMULATED)
    assert url.startswith(f"sim://{quote(str(job))}?")
    assert "clock=virtual" in url
    assert "name=prove-" in url
    assert "clock" not in box_url("sim://", job, Who.ASK)
    assert "clock=real" in box_url("sim://?clock=real", job, Who.SIMULATED)
    assert box_url("/dev/ttyACM0", job, Who.ASK) == "/dev/ttyACM0"
    assert "fault=open:1" in box_url("sim://?fault=open:1", job, Who.SIMULATED)


# --- the walk ---------------------------------------------------------------------------------------------


def test_a_walk_finds_a_swap_and_says_how_to_mend_it(fuel_job, tmp_path):
    out = tmp_path / "out"
    result = prove(
        fuel_job,
        "--box",
        "sim://?fault=swapped:1:2",
        "--operator",
        "simulated",
        "--walk",
        "--out",
        out,
        "--quiet",
    )
    text = squeezed(result.output)
    assert result.exit_code == Code.FAULTS
    assert "channel 1 expected, channel 2 found" in text
    assert "2. Move the terminal from H1-2 to H1-1." in text
    with RecordStore(out / "records.sqlite") as store:
        record = store.read("last")
    walked = [s for s in record.steps if s.step_id.startswith("pull-")]
    assert len(walked) == 2, "each place is asked once, by the walk alone"
    assert all(s.ended.outcome["measured"]["how"] == "asked for, and pulled" for s in walked)


def test_a_person_walks_by_words_at_a_plain_terminal(valve_job):
    words = "1\nsing\nnothing\n"
    result = prove(valve_job, "--box", "sim://?clock=virtual", "--walk", "--name", "RB", stdin=words)
    text = squeezed(result.output)
    assert "PULL: beside the tank" in text
    assert "Type nothing, no, skip, off, free, end or stop." in text
    assert "nothing moved" in text
    assert result.exit_code == Code.STOPPED, "nobody answers what comes after the walk"
