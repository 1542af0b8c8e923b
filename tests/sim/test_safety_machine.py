"""Random orders of commands, frames, silences and hands never energise a dangerous channel unarmed.

The machine is in `safety/machine.py`, the oracle that judges it in `safety/oracle.py`.
"""

from typing import Any

import pytest

import loomproof_sim.controller.limits as limits_module
import loomproof_sim.controller.requests as requests_module
from loomproof_sim.controller.activity import BoxParts
from loomproof_sim.controller.arming import Arming
from loomproof_sim.controller.controller import Controller
from loomproof_sim.controller.drive import DriveActivity
from loomproof_sim.controller.limits import ChannelTable
from loomproof_sim.controller.machine import StateMachine
from loomproof_sim.controller.requests import Requests
from loomproof_sim.controller.sampler import Sampler
from loomproof_sim.controller.session import SessionLayer
from loomproof_sim.controller.supervision import HeartbeatTimer, StopLatch, SupplyWatch
from loomproof_wire import messages as wire
from loomproof_wire.messages import Hazard, LoadClass
from tests.sim.safety.machine import run_machine
from tests.sim.safety.oracle import MS, NEVER, DangerError

LEAST_STEPS = 10_000
LEAST_DANGEROUS = 300


def test_no_order_of_events_energises_a_dangerous_channel(new_console: Any) -> None:
    tally = run_machine(new_console, examples=300)
    print(tally)
    assert tally.steps >= LEAST_STEPS
    assert tally.dangerous >= LEAST_DANGEROUS, (
        "hardly anything dangerous was ever driven: the run proves nothing"
    )


# -- is the oracle awake? The controller is broken on purpose, one guard at a time ---------------


def _nothing(*_: Any, **__: Any) -> None:
    return None


def _no(*_: Any, **__: Any) -> bool:
    return False


def _armed_for_ever(arming: Arming, hazard: Hazard, now_ns: int) -> bool:
    return hazard in arming._until_ns


def _executed_again(session: SessionLayer, sequence: int) -> bool:
    return True


def _latched_without_switching_off(box: StateMachine, reason: wire.StopReason) -> None:
    box.latch.latch(reason)


def _stale_is_new(session: SessionLayer, sequence: int) -> bool:
    return sequence != session._last_sequence


def _never_reset(box: Controller) -> None:
    box.catch_up()
    box._hung_until_ns = box.now_ns + 400 * MS


def _trip_forgotten(box: Any, channel: int, current_a: float, time_ns: int) -> None:
    box.outputs.all_off(time_ns)
    box.outbox.event(wire.Trip(channel, 0))


def _session_without_care(box: StateMachine) -> None:
    box.heartbeat.forget()
    box.latch.greeted()
    box.telemetry.begin(box.now_ns)
    box.parts.outbox.muted = False


def _only_said_to_be_open(box: Controller, open_: bool) -> None:
    box.latch.input_open = open_


def _always_good(supply: SupplyWatch, supply_v: float) -> bool:
    supply.supply_v, supply.good = supply_v, True
    return False


def _longest_sense(*_: Any) -> int:
    return 200


def _runs_on(run: DriveActivity, reason: wire.EndReason, now_ns: int) -> None:
    run.catch_up(now_ns)


MUTANTS: dict[str, list[tuple[Any, str, Any]]] = {
    "arming is not asked for": [(Requests, "_refuse_unarmed", _nothing)],
    "arming does not expire": [
        (Arming, "expire", _nothing),
        (Arming, "next_ns", lambda _: NEVER),
        (Arming, "armed", _armed_for_ever),
    ],
    "a lost arming does not end the drive": [(StateMachine, "_disarmed", _nothing)],
    "disarm does nothing": [(Requests, "_disarm", _nothing)],
    "a load class carries no hazard": [
        (limits_module, "BOUND_HAZARD", dict.fromkeys(LoadClass, Hazard.NONE))
    ],
    "no heartbeat is needed": [(HeartbeatTimer, "lost", _no), (HeartbeatTimer, "next_ns", lambda _: NEVER)],
    "a stop does not latch": [(StopLatch, "latch", _no)],
    "a stop leaves the outputs": [(StateMachine, "stop", _latched_without_switching_off)],
    "the stop input is only reported": [(Controller, "set_stop_input", _only_said_to_be_open)],
    "the supply is never missed": [(SupplyWatch, "measured", _always_good)],
    "a new session changes nothing": [(StateMachine, "new_session", _session_without_care)],
    "configuring drops no arming": [(StateMachine, "disarm_all", _nothing)],
    "the pump leaves fuel armed": [(StateMachine, "pump_starts", _nothing)],
    "fuel is armed beside the pump": [(StateMachine, "pump_running", False)],
    "a repeated request is carried out again": [(SessionLayer, "_is_new", _executed_again)],
    "a stale request is carried out": [(SessionLayer, "_is_new", _stale_is_new)],
    "pulses are not held to the ceilings": [(requests_module, "check_pulses", _nothing)],
    "holds are not held to the ceilings": [(requests_module, "check_hold", _nothing)],
    "steps are not held to the ceilings": [(requests_module, "check_step", _nothing)],
    "sense pulses are not capped": [(requests_module, "sense_cap_us", _longest_sense)],
    "two drives at a time": [(Requests, "_refuse_busy", _nothing)],
    "over-current is not seen": [(Sampler, "advance", _nothing)],
    "a trip does not latch": [(BoxParts, "trip", _trip_forgotten)],
    "an unconfigured channel is driven": [(ChannelTable, "usable", ChannelTable.config)],
    "the watchdog is slow": [(Controller, "hang", _never_reset)],
    "cancel leaves the output on": [(DriveActivity, "end", _runs_on)],
}


@pytest.mark.parametrize("name", MUTANTS)
def test_a_box_without_a_guard_is_caught(
    name: str, new_console: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    for owner, attribute, broken in MUTANTS[name]:
        monkeypatch.setattr(owner, attribute, broken)
    with pytest.raises(DangerError):
        run_machine(new_console, examples=2000, shrink=False)
