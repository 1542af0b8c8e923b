"""The core against its safety oracle: fuzzed, and broken on purpose to see that the oracle is awake."""

import os
import re
import shutil
import subprocess

import pytest
from hostbox import ROOT

HOST = ROOT / "firmware/host"
CORE = ROOT / "firmware/core"
RANDOM = ROOT / "build/firmware/host/random"
FUZZ_SECONDS = int(os.environ.get("LOOMPROOF_FUZZ_SECONDS", "30"))
RUNS = 20_000
MUTANT_RUNS = 20_000


def _make(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["make", "-s", "-C", str(HOST), *arguments], capture_output=True, text=True, check=False, timeout=280
    )


def test_no_random_order_of_events_energises_what_may_not_be():
    made = _make("random")
    assert made.returncode == 0, made.stderr
    ran = subprocess.run([RANDOM, "1", str(RUNS)], capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    energised = int(re.search(r"(\d+) times", ran.stdout).group(1))
    assert energised >= RUNS / 4, "hardly anything hazardous was ever driven: the run proves nothing"


def test_the_fuzzer_finds_no_crash_no_undefined_behaviour_and_no_danger():
    ran = _make("fuzz", f"SECONDS={FUZZ_SECONDS}")
    report = ran.stdout + ran.stderr
    assert ran.returncode == 0, report[-4000:]
    runs = int(re.search(r"number_of_executed_units: (\d+)", report).group(1))
    assert runs >= 100 * FUZZ_SECONDS, "the fuzzer hardly ran"


def test_analyzers_find_nothing_and_functions_and_stacks_are_small():
    ran = _make("check")
    assert ran.returncode == 0, ran.stdout + ran.stderr


TOO_BRANCHED = "int f(int x)\n{\n" + "    if (x) x--;\n" * 10 + "    return x;\n}\n"
TOO_LONG = "int f(int x)\n{\n" + "    x--;\n" * 40 + "    return x;\n}\n"


@pytest.mark.parametrize("source", [TOO_BRANCHED, TOO_LONG], ids=["branches", "lines"])
def test_a_function_over_the_limit_of_complexity_or_length_is_named(source, tmp_path):
    (tmp_path / "one.c").write_text(source)
    ran = _make("complexity", f"MEASURED={tmp_path}")
    assert ran.returncode != 0
    assert "one.c:1: warning: f has" in ran.stdout


MUTANTS: dict[str, list[tuple[str, str, str]]] = {
    "arming is not asked for": [
        ("drive_requests.c", "if (missing != WIRE_HAZARD_NONE)", "if (missing == 0xFE)")
    ],
    "a load class carries no hazard": [
        (
            "limits.c",
            "(1U << load_hazard(load_class, hazard))",
            "(load_class & 0u)",
        )
    ],
    "arming does not expire": [
        ("arming.c", "(int32_t)(until_ticks[hazard] - now_ticks) > 0", "now_ticks != 1u")
    ],
    "disarm leaves the drive on": [("arming.c", "activity_end(WIRE_END_REASON_DISARMED);", "")],
    "configure keeps the arming": [("requests.c", "arming_drop_all(WIRE_DISARM_REASON_RECONFIGURED);", "")],
    "a new session keeps the arming": [("session.c", "arming_drop_all(WIRE_DISARM_REASON_NEW_SESSION);", "")],
    "a new session lets the drive run": [
        ("session.c", "activity_end(WIRE_END_REASON_CANCELLED);\n    send_unmute", "send_unmute")
    ],
    "heartbeat loss does nothing": [("guard.c", "guard_stop(WIRE_STOP_REASON_HEARTBEAT);", "")],
    "heartbeat may be slow": [("guard.c", "* HAL_TICKS_PER_MS)", "* HAL_TICKS_PER_MS + 20000u)")],
    "no heartbeat is needed": [("guard.c", "if (!guard_alive())", "if (guard_reason() == 99)")],
    "any session's heartbeat counts": [
        ("session.c", "wire_get_u32(frame->body) == session", "wire_get_u32(frame->body) != 99u")
    ],
    "a stop does not latch": [
        ("guard.c", "        reason = why;\n", ""),
        ("outputs.c", "    killed = true;\n", ""),
    ],
    "a stop leaves the outputs": [
        ("guard.c", "    outputs_kill();\n    activity_cut(WIRE_END_REASON_STOPPED);\n", ""),
        ("guard.c", "    activity_end(WIRE_END_REASON_STOPPED);\n", ""),
        ("session.c", "    activity_end(WIRE_END_REASON_STOPPED);\n", ""),
        ("arming.c", "activity_end(WIRE_END_REASON_DISARMED);", ""),
    ],
    "a stopped box drives": [
        ("guard.c", "if (guard_stopped())", "if (guard_reason() == 99)"),
        ("outputs.c", "!killed ||", "true ||"),
    ],
    "the supply is not looked at": [("guard.c", "guard_stop(WIRE_STOP_REASON_SUPPLY);", "")],
    "on-times are not limited": [
        (
            "limits.c",
            "over(WIRE_REFUSAL_OVER_ON_TIME, on_time_us, c->max_on_time_us",
            "over(WIRE_REFUSAL_OVER_ON_TIME, 0, c->max_on_time_us",
        )
    ],
    "counts are not limited": [
        ("limits.c", "over(WIRE_REFUSAL_OVER_COUNT, count,", "over(WIRE_REFUSAL_OVER_COUNT, 0 * count,")
    ],
    "holds are not limited": [
        (
            "limits.c",
            "over(WIRE_REFUSAL_OVER_ON_TIME, duration_ms,",
            "over(WIRE_REFUSAL_OVER_ON_TIME, 0 * duration_ms,",
        )
    ],
    "sense pulses are not capped": [
        ("drive_requests.c", "if (r.on_time_us > cap_us)", "if (r.on_time_us > 999)")
    ],
    "an unconfigured channel is driven": [("drive_requests.c", "== WIRE_LOAD_CLASS_NONE", "== 99")],
    "two drives at a time": [("activity.c", "if (activity_busy())", "if (guard_reason() == 99)")],
    "over-current is not seen": [
        ("drive.c", "edge->limit = *limit_of(edge->sampled);", "edge->limit.counts = UINT16_MAX;")
    ],
    "a tripped drive goes on": [
        (
            "drive.c",
            "    run.tripped = true;\n    run.on = false;\n    run.count = 0;\n",
            "    run.count = 0;\n    plan_ahead();\n    return;\n",
        ),
    ],
    "a repeated request is carried out again": [
        ("session.c", "    if (ahead == 0) {", "    if (ahead == 0x8000u) {")
    ],
    "a stale request is carried out": [("session.c", "if (ahead > NEWEST)", "if (ahead == 0x8000u)")],
    "cancel leaves the output on": [
        ("activity.c", "    outputs_all_off();\n    current.cut", "    current.cut")
    ],
    "a pulse is a tick too long": [
        (
            "programme.c",
            "set(edge, p->start + p->on, channel, HAL_OFF",
            "set(edge, p->start + p->on + 1U, channel, HAL_OFF",
        )
    ],
    "a train has a pulse too many": [
        ("programme.c", "p->left = count;", "p->left = (uint16_t)(count + 1u);")
    ],
    "a watch runs too long": [("watch.c", "+ HAL_TICKS_PER_MS) >", "- 2000u) >")],
}


@pytest.mark.parametrize("name", MUTANTS)
def test_a_core_without_a_guard_is_caught(name, tmp_path):
    copy = tmp_path / "core"
    shutil.copytree(CORE, copy)
    for file, sound, broken in MUTANTS[name]:
        text = (copy / file).read_text()
        assert sound in text, f"the mutation no longer fits {file}"
        (copy / file).write_text(text.replace(sound, broken))
    program = tmp_path / "random"
    made = _make(f"CORE_DIR={copy}", f"RANDOM_OUT={program}", "random")
    assert made.returncode == 0, made.stderr
    ran = subprocess.run([program, "1", str(MUTANT_RUNS)], capture_output=True, text=True, check=False)
    assert "DANGER" in ran.stderr, "the oracle did not see it"
