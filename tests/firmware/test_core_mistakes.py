"""Subtle mistakes planted in the core; each is named by a rule of the search over interleavings, or by one check.

The sound core is compiled once; a mistake compiles its own file again.
"""

import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import test_class_ceilings as ceilings
import test_guard_arming as arming
import test_guard_limits as limits
import test_guard_look as look
import test_guard_requests as requests
import test_guard_rest as rest
import test_guard_sessions as sessions
import test_guard_stops as stops
from core_types import CEILINGS, configured, typed
from hostbox import ROOT, HostBox
from hostconsole import HELD, SENSE, STEPPER, TRAIN, HostConsole, configure

from loomproof_wire import messages as wire
from loomproof_wire.messages import Hazard, LoadClass, StopReason
from testbed.interleave.core_box import CoreBox
from testbed.interleave.player import Tally, search

CORE = ROOT / "firmware/core"
HOST = ROOT / "firmware/host"
FLAGS = ("gcc", "-std=c11", "-O1", "-fPIC", "-w", f"-I{CORE}", "-c")
STEPS = 6000
SEEDS = (1, 2, 3, 4, 5, 6)

NOBODY = "is armed, and nobody armed it"
TIRED = "turned on before it had rested"
TRIPPED = "turned on after it tripped"
Check = Callable[[HostConsole], Any]


@dataclass(frozen=True)
class Mistake:
    """One edit, and what notices it: a rule of the search, or a check."""

    file: str
    sound: str
    broken: str
    by: str | Check


def _silent(console: HostConsole) -> None:
    """A stop for want of heartbeats disarms, as any other."""
    assert console.refusal(wire.Arm(Hazard.HEAT, 60_000)) is None
    console.wait(450, beats=False)
    assert console.said(wire.Stopped) == [wire.Stopped(StopReason.HEARTBEAT)]
    assert console.status().armed_mask == 0


def _held_classes(console: HostConsole) -> None:
    core = console.box.core
    ceilings.test_a_coil_or_an_injector_is_never_held(
        lambda load, **fields: configured(core, 1, load, **(CEILINGS | fields))
    )


def _neighbours(console: HostConsole) -> None:
    core = console.box.core
    ceilings.test_a_configuration_over_a_ceiling_of_its_class_is_refused(
        lambda load, **fields: configured(core, 1, load, **(CEILINGS | fields)), LoadClass.MOTOR
    )


def _scan_of_a_tripped_channel(console: HostConsole) -> None:
    configure(console, SENSE)
    console.box.core.trip_now(1, 0, 0)
    console.ask(wire.Scan(1, 60))
    console.wait(20)
    assert console.pulses() == []


def _trip_beside(console: HostConsole) -> None:
    console.box.core.trip_now(2, 0, 0)
    configure(console, TRAIN)
    assert console.status().tripped_mask == 1 << 1


MISTAKES = {
    "a held watch of the pump does not count as driving it": Mistake(
        "drive_requests.c", "watch_begin(&r, hazards, pump);", "watch_begin(&r, hazards, pump && !r.held);",
        lambda console: requests.test_a_fuel_pump_takes_the_arming_of_fuel_away(console, HELD),
    ),
    "four times the sense energy of a coil": Mistake(
        "limits.c", "LOAD_SPARK_SENSE_US_MV / mv", "2U * LOAD_SPARK_SENSE_US_MV / mv", "on for too long"
    ),
    "a stop for want of heartbeats keeps the arming": Mistake(
        "guard.c", "    arming_drop_all(by_supply",
        "    if (reason != WIRE_STOP_REASON_HEARTBEAT) arming_drop_all(by_supply", _silent,
    ),
    "arming reaches the class beside": Mistake(
        "arming.c", "mask = (uint8_t)(mask | (1U << hazard));", "mask = (uint8_t)(mask | (3U << hazard));", NOBODY
    ),
    "disarming looks at the class beside": Mistake(
        "arming.c", "if (activity_hazards() & (1U << hazard))", "if (activity_hazards() & (2U << hazard))",
        "no longer armed",
    ),
    "an arming lasts a little longer": Mistake(
        "arming.c", "until_ticks[hazard] = hal_now_ticks() +", "until_ticks[hazard] = 2U + hal_now_ticks() +",
        lambda console: arming.test_an_arming_holds_to_its_last_tick_and_no_longer(console.box.core),
    ),
    "what is left of an arming is rounded down": Mistake(
        "arming.c", "+ HAL_TICKS_PER_MS - 1U)", "+ 0U)", lambda console: arming.test_what_is_left_is_rounded_up(console.box)
    ),
    "configure clears the trip beside": Mistake(
        "trip.c", "latched & ~(1U << (channel - 1U))", "latched & ~(3U << (channel - 1U))", _trip_beside
    ),
    "a trip latches the channel beside": Mistake(
        "trip.c", "latched = (uint16_t)(latched | bit);", "latched = (uint16_t)(latched | (bit << 1U));", TRIPPED
    ),
    "a scan asks for the trip of the channel beside": Mistake(
        "scan.c", "(trip_mask() & bit())", "(trip_mask() & (bit() << 1U))",
        _scan_of_a_tripped_channel,
    ),
    "only the first channel of a drive rests": Mistake(
        "drive_requests.c", "refusal = rest_check(wanted->channels[i]);", "refusal = rest_check(*wanted->channels);", TIRED,
    ),
    "a held watch owes no rest": Mistake(
        "watch.c", "    if (run.plan.held) {\n        rest_owe", "    if (run.plan.held && run.tripped) {\n        rest_owe",
        lambda console: rest.test_what_has_no_period_owes_rest_as_well(console, HELD),
    ),
    "a drive that was cancelled owes no rest": Mistake(
        "drive.c", "reason == WIRE_END_REASON_COMPLETE && !run.tripped", "reason <= WIRE_END_REASON_CANCELLED", TIRED
    ),
    "the rest is a tenth short": Mistake(
        "rest.c", "->max_duty_permille + ROUNDED_MS", "->max_duty_permille * 9U / 10U",
        lambda console: rest.test_the_rest_of_a_train_outlives(console, rest.cancel),
    ),
    "a new session rests nothing": Mistake(
        "session.c", "    guard_new_session();\n",
        "    guard_new_session();\n    extern void rest_reset(void);\n    rest_reset();\n",
        lambda console: rest.test_the_rest_of_a_train_outlives(console, rest.new_session),
    ),
    "a load class has its neighbour's ceilings": Mistake(
        "limits.c", "class_ceilings[request->load_class]", "class_ceilings[(request->load_class + 1U) % 10U]", _neighbours
    ),
    "the hold's ceiling of a class is left out": Mistake(
        "limits.c", "c->max_hold_ms = (uint16_t)(row[CLASS_HOLD] * MS_PER_STEP);", "", _held_classes
    ),
    "a refused configuration is kept": Mistake(
        "limits.c", "    lower_to_class(&c, request);\n",
        "    lower_to_class(&c, request);\n    memcpy(&configs[request->channel - 1U], request, sizeof *request);\n",
        lambda console: limits.test_a_configuration_is_held_as_it_was_given_and_a_refused_one_is_not(console.box.core),
    ),
    "only the first channel may be a pump": Mistake(
        "drive_requests.c", "pump = pump || limits_config(wanted->channels[i])->fuel_pump;",
        "pump = limits_config(wanted->channels[0])->fuel_pump;",
        lambda console: requests.test_a_fuel_pump_takes_the_arming_of_fuel_away(console, STEPPER),
    ),
    "a drive beside the pump may need fuel": Mistake(
        "drive_requests.c", "(hazards_of(wanted) & (1U << WIRE_HAZARD_FUEL)) != 0", "(hazards_of(wanted) & 1U) != 0",
        lambda console: requests.test_a_drive_that_needs_fuel_and_runs_the_pump_is_refused(console, STEPPER),
    ),
    "only the first channel is asked for its configuration": Mistake(
        "drive_requests.c", "if (limits_config(wanted->channels[i])->load_class == WIRE_LOAD_CLASS_NONE)",
        "if (limits_config(wanted->channels[0])->load_class == WIRE_LOAD_CLASS_NONE)",
        lambda console: requests.test_a_channel_that_is_not_configured_is_not_driven(console, STEPPER),
    ),
    "heartbeats may be a millisecond late": Mistake(
        "guard.c", "now_ticks - beat_ticks >= HEARTBEAT_TIMEOUT_TICKS", "now_ticks - beat_ticks > HEARTBEAT_TIMEOUT_TICKS",
        stops.test_on_the_very_millisecond_the_heartbeat_is_late,
    ),
    "a new session keeps the old one's heartbeat": Mistake(
        "guard.c", "    alive = false;\n    if (reason == WIRE_STOP_REASON_BOOT)", "    if (reason == WIRE_STOP_REASON_BOOT)",
        sessions.test_a_new_session_switches_off_disarms_and_wants_a_heartbeat,
    ),
    "the last reason of a stop stays": Mistake(
        "guard.c", "    if (!guard_stopped()) {\n        reason = why;", "    {\n        reason = why;",
        stops.test_the_first_reason_of_a_stop_stays,
    ),
    "a sequence number half the way round is new": Mistake(
        "session.c", "if (ahead > NEWEST)", "if (ahead > NEWEST + 1U)",
        lambda console: sessions.test_a_sequence_number_is_new_up_to_half_the_way_round(console, 0x8000, False),
    ),
    "a driver's fault is looked for on the first channels alone": Mistake(
        "look.c", "% board->channel_count", "% 4U",
        lambda console: look.test_it_is_noticed_at_rest_latched_and_named(console, StopReason.DRIVER_ON, 16),
    ),
    "a dead reading counts as no current": Mistake(
        "look.c", "away >= -BAND_COUNTS", "away >= -BAND_COUNTS * 2",
        lambda console: look.test_it_is_noticed_at_rest_latched_and_named(console, StopReason.CURRENT_PATH, 3),
    ),
    "a faulty board is cleared by another session": Mistake(
        "guard.c", "    if (reason == WIRE_STOP_REASON_BOOT) {",
        "    if (reason == WIRE_STOP_REASON_BOOT || guard_faulty()) {",
        lambda console: look.test_nothing_but_power_off_leaves_it(console, StopReason.DRIVER_ON),
    ),
    "configure forgets the channel of a faulty board": Mistake(
        "requests.c", "if (!guard_faulty()) {", "if (guard_reason() != WIRE_STOP_REASON_CURRENT_PATH) {",
        lambda console: look.test_nothing_but_power_off_leaves_it(console, StopReason.DRIVER_ON),
    ),
    "a stopped box is ready for a train": Mistake(
        "guard.c", "    if (guard_stopped()) {\n        return refusal_of(WIRE_REFUSAL_STOPPED",
        "    if (guard_reason() == WIRE_STOP_REASON_COMMAND) {\n        return refusal_of(WIRE_REFUSAL_STOPPED",
        lambda console: requests.test_nothing_starts_while_the_box_is_not_ready(console, TRAIN),
    ),
}  # fmt: skip


@pytest.fixture(scope="module")
def sound(tmp_path_factory) -> Path:
    """A folder with every file of the sound core compiled."""
    folder = tmp_path_factory.mktemp("core")
    sources = [*sorted(CORE.glob("*.c")), HOST / "board.c", HOST / "plant.c"]
    subprocess.run((*FLAGS, *map(str, sources)), cwd=folder, check=True)
    return folder


def linked(sound: Path, folder: Path, mistake: Mistake | None = None) -> Path:
    """Return the library of a core with one mistake, or of the sound one."""
    objects = {path.name: path for path in sound.glob("*.o")}
    if mistake is not None:
        text = (CORE / mistake.file).read_text(encoding="utf-8")
        assert text.count(mistake.sound) == 1, f"the mistake no longer fits {mistake.file}"
        (folder / mistake.file).write_text(text.replace(mistake.sound, mistake.broken), encoding="utf-8")
        subprocess.run((*FLAGS, mistake.file), cwd=folder, check=True)
        objects[mistake.file.replace(".c", ".o")] = folder / mistake.file.replace(".c", ".o")
    library = folder / "core.so"
    subprocess.run(("gcc", "-shared", "-o", library, *objects.values(), "-lm"), check=True)
    return library


def test_no_interleaving_breaks_a_rule_of_the_core(sound, tmp_path):
    """A share of what `python -m benchmarks.interleavings` searches."""
    tally = Tally()
    found = search(CoreBox(linked(sound, tmp_path)), seed=1, steps=2 * STEPS, tally=tally)
    assert found is None, str(found)
    assert tally.energised > STEPS / 100, "hardly anything with a hazard was driven: the run proves nothing"


@pytest.mark.parametrize("name", MISTAKES)
def test_a_mistake_is_named(sound, tmp_path, monkeypatch, name):
    mistake = MISTAKES[name]
    library = linked(sound, tmp_path, mistake)
    if isinstance(mistake.by, str):
        box = CoreBox(library)
        found = next(filter(None, (search(box, seed, STEPS, shrink=False) for seed in SEEDS)), None)
        assert found is not None, "no rule was broken"
        assert mistake.by in found.rule
        return
    monkeypatch.setenv("LOOMPROOF_HOST_LIBRARY", str(library))
    box = HostBox()
    typed(box.core)
    console = HostConsole(box)
    console.greet()
    with pytest.raises((AssertionError, TypeError)):  # a refusal that did not come cannot be unpacked
        mistake.by(console)


def test_there_are_enough_of_them():
    assert len(MISTAKES) >= 25
