"""The suite leaves nothing out: every guarantee of the protocol page, every refusal, message and reason is provoked."""

import re
import tomllib
from pathlib import Path

import pytest

from loomproof.boxcheck.catalogue import CASES, NOT_FROM_OUTSIDE
from loomproof.boxcheck.outcome import Outcome
from loomproof.boxcheck.run import run_suite
from loomproof_wire.declaration import WIRE_TOML
from loomproof_wire.messages import (
    Disarmed,
    DisarmReason,
    DriveEnded,
    EndReason,
    Refused,
    Stopped,
    StopReason,
)
from testbed.checkboard import Tap

PAGE = (Path(__file__).parents[2] / "docs" / "protocol.md").read_text()
WIRE = tomllib.loads(WIRE_TOML.read_text())
KEYS = {case.key for case in CASES}

GUARANTEES = {
    "It starts with every output off": {"starts-empty", "no-session-no-service"},
    "The hardware stop input switches the outputs off": {"stop-input-stops"},
    "Over-current switches the channel off": {"trip-latches"},
    "Count and on-time are kept by the box alone": {
        "train-delivered", "on-time-kept", "silence-ends-a-train",
    },
    "One channel is driven at a time": {"one-channel-at-a-time", "configure-while-driving"},
    "A channel of a hazard class is driven only": {"needs-its-class", "arming-expires"},
    "Arming ends on expiry": {
        "arming-expires", "disarm-drops", "stop-stops", "configure-disarms", "new-session-drops-all",
        "supply-loss-stops", "pump-drops-fuel",
    },
    "Expiry and heartbeat loss are judged": {"arming-expires", "heartbeat-loss-stops"},
    "While nothing is driven or sensed the box looks": set(),  # a fault of the board: see NOT_FROM_OUTSIDE
    "Each load class has ceilings of its own": {"class-ceilings"},
    "A drive owes its channel rest": {"rest-kept"},
    "The ceilings below are compiled in": {"ceilings-shown", "ceilings-not-raised", "own-ceilings-kept"},
}  # fmt: skip
"""How each guarantee of the page begins -> the cases that try it."""
LIMITS = {
    "train, peak-and-hold": {"train-limits", "peak-hold-limits"},
    "hold, held watch": {"hold-limits"},
    "stepper, each channel": {"stepper-steps"},
    "bridge, both channels": {"bridge-drives"},
    "sense": {"sense-limits"},
}
"""Each row of the page's table of limits -> the cases that try it."""


def section(heading):
    return PAGE.split(f"\n## {heading}\n")[1].split("\n## ")[0]


def test_every_guarantee_of_the_page_has_a_case():
    text = section("What the box guarantees")
    bullets = re.findall(r"^- (.+)", text, re.MULTILINE)
    for bullet in bullets:
        assert any(bullet.startswith(opening) for opening in GUARANTEES), f"no case is named for: {bullet}"
    assert len(bullets) == len(GUARANTEES)
    rows = re.findall(r"^\| ([a-z][^|]*?) \|", text, re.MULTILINE)
    assert set(rows) - {"drive", "load class"} == set(LIMITS)
    named = set().union(*GUARANTEES.values(), *LIMITS.values())
    assert named <= KEYS


def test_what_the_line_cannot_show_says_how_to_see_it():
    told = " ".join(NOT_FROM_OUTSIDE)
    for word in ("watchdog", "without software", "within one sample period"):
        assert word in told


@pytest.fixture(scope="module")
def passed(make_python_box):
    """Case key -> what was sent and heard during it, on the board that has everything."""
    fixture = make_python_box()
    tap = fixture.line.port = Tap(fixture.line.port)
    heard = {}

    def note(result):
        assert result.outcome is not Outcome.BROKEN, result.text
        said = tap.take()
        if result.outcome is Outcome.KEPT:
            heard[result.case.key] = said

    run_suite(fixture, on_result=note)
    return heard


def test_every_refusal_reason_of_the_wire_is_provoked_where_a_case_says_so(passed):
    reasons = set()
    # before the first case the suite looks at a box that nobody has greeted
    before = {m.reason for m in passed[CASES[0].key][1] if isinstance(m, Refused)}
    for case in CASES:
        if case.key not in passed:
            continue
        found = {m.reason for m in passed[case.key][1] if isinstance(m, Refused)}
        found |= before if case.key == "no-session-no-service" else set()
        assert case.refusals <= found, f"{case.key} says that it provokes {case.refusals - found}"
        reasons |= {reason.name.lower() for reason in case.refusals}
    declared = {name for name in WIRE["enum"]["refusal"] if name != "doc"}
    # a board of 16 channels has them all; the boards of four show it (test_python_box)
    assert declared - reasons == {"no_such_channel"}


def test_every_request_is_sent_and_every_answer_and_event_is_heard(passed):
    sent = {m.NAME for messages, _ in passed.values() for m in messages}
    heard = {m.NAME for _, messages in passed.values() for m in messages}
    for name, body in WIRE["message"].items():
        assert name in (sent if body["direction"] in ("request", "notice") else heard), name


def test_every_reason_of_an_end_a_stop_and_a_disarming_is_heard(passed):
    events = [m for _, messages in passed.values() for m in messages]
    assert {m.reason for m in events if isinstance(m, DriveEnded)} == set(EndReason)
    assert {m.reason for m in events if isinstance(m, Disarmed)} == set(DisarmReason)
    # `none` and `boot` are no events; a part of the box that fails is provoked on the real binary
    silent = {
        StopReason.NONE,
        StopReason.BOOT,
        StopReason.WATCHDOG,
        StopReason.DRIVER_ON,
        StopReason.CURRENT_PATH,
        StopReason.TIMER,
        StopReason.CONVERTER,
    }
    assert {m.reason for m in events if isinstance(m, Stopped)} == set(StopReason) - silent
