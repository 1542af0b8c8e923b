"""Both boxes keep the ceilings of a load class, whatever is configured.

The figures are written out a second time, by hand: the table must not be able to change them alone. Judgement of this
project, unchecked.
"""

import math
import re

import pytest
from core_types import CEILINGS, configured
from hostbox import ROOT

from loomproof.facts.kinds import LoadKind
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.load_traits import LOAD_TRAITS
from loomproof.safety.budget import BoxCeilings
from loomproof_sim.controller.limits import ChannelTable, RefuseError
from loomproof_wire.messages import ChannelKind, Configure, Hazard, LoadClass, Refusal

MOST = {
    LoadClass.INJECTOR: (25_000, 0, 500, 15_000),
    LoadClass.COIL: (10_000, 0, 100, 20_000),
    LoadClass.IGNITER_COIL: (10_000, 0, 100, 200),
    LoadClass.RELAY: (100_000, 10_000, 900, 10_000),
    LoadClass.VALVE: (100_000, 10_000, 900, 20_000),
    LoadClass.LAMP: (100_000, 10_000, 900, 20_000),
    LoadClass.MOTOR: (100_000, 5_000, 500, 20_000),
    LoadClass.STEPPER: (100_000, 2_000, 500, 5_000),
    LoadClass.LOGIC_INPUT: (100_000, 0, 900, 200),
}
"""On-time in us, hold in ms, duty in permille, current in mA."""
ENERGY_J = {LoadClass.INJECTOR: 2.5, LoadClass.COIL: 1.0}
"""Of one pulse, from 20 V: E = V I t (any circuits textbook)."""
FIELDS = ("max_on_time_us", "max_hold_ms", "max_duty_permille", "max_current_ma")
REASONS = (Refusal.OVER_ON_TIME, Refusal.OVER_ON_TIME, Refusal.OVER_DUTY, Refusal.OVER_CURRENT_LIMIT)
NONE = (0, 0)


def in_python(load: LoadClass, **limits: int) -> tuple[int, int]:
    table = ChannelTable({1: ChannelKind.LOW_SIDE})
    try:
        table.configure(Configure(1, load, Hazard.NONE, 0, **(CEILINGS | limits)))
    except RefuseError as refusal:
        return refusal.reason, refusal.detail
    return NONE


@pytest.fixture(params=["python", "core"])
def configure(request, guarded):
    if request.param == "python":
        return in_python
    guarded.restart()
    return lambda load, **limits: configured(guarded.core, 1, load, **(CEILINGS | limits))


@pytest.mark.parametrize("load", MOST, ids=lambda load: load.name.lower())
def test_a_configuration_over_a_ceiling_of_its_class_is_refused(configure, load):
    most = dict(zip(FIELDS, MOST[load], strict=True))
    low = most | {"max_current_ma": 100}  # so that the energy of a pulse does not count
    assert configure(load, **low) == NONE
    for field, reason in zip(FIELDS, REASONS, strict=True):
        detail = most[field] * (1000 if field == "max_hold_ms" else 1)
        if most[field] < CEILINGS[field]:
            over = configure(
                load, **(low | {field: most[field] + 1, "max_on_time_us": low["max_on_time_us"]})
            )
            if field == "max_on_time_us":
                over = configure(load, **(low | {field: most[field] + 1}))
            if field == "max_current_ma" and load in ENERGY_J:
                over = configure(load, **(low | {field: most[field] + 1, "max_on_time_us": 50}))
            assert over == (reason, detail)


def test_a_coil_or_an_injector_is_never_held(configure):
    """Found by an attack: ten seconds at 20 A were accepted and driven."""
    for load in (LoadClass.COIL, LoadClass.INJECTOR, LoadClass.IGNITER_COIL):
        low = dict(zip(FIELDS, MOST[load], strict=True)) | {"max_current_ma": 100, "max_hold_ms": 10_000}
        assert configure(load, **low) == (Refusal.OVER_ON_TIME, 0)


@pytest.mark.parametrize("load", ENERGY_J, ids=lambda load: load.name.lower())
@pytest.mark.parametrize("current_ma", [1000, 5000, 9999, 15_000])
def test_the_energy_of_one_pulse_is_bounded(configure, load, current_ma):
    most_us, _, duty, _ = MOST[load]
    longest_us = min(most_us, math.floor(ENERGY_J[load] / (20.0 * current_ma * 1e-3) * 1e6 + 1e-6))
    limits = {"max_hold_ms": 0, "max_duty_permille": duty, "max_current_ma": current_ma}
    assert configure(load, max_on_time_us=longest_us, **limits) == NONE
    assert configure(load, max_on_time_us=longest_us + 1, **limits) == (Refusal.OVER_ON_TIME, longest_us)


def test_the_ceilings_hold_what_the_catalogue_asks_for():
    for load in CATALOGUE.values():
        row, limits = LOAD_TRAITS[load.kind].ceilings, load.limits
        box = BoxCeilings().lowered_to(row, round(limits.max_current_a * 1000))
        assert limits.max_on_time_ms * 1000 <= box.max_on_time_us, load.key
        assert limits.max_hold_ms <= box.max_hold_ms, load.key
        assert limits.max_duty * 1000 <= box.max_duty_permille, load.key
        assert limits.max_current_a * 1000 <= box.max_current_ma, load.key


@pytest.mark.parametrize("kind", LoadKind)
def test_what_is_never_held_has_no_hold(kind):
    traits = LOAD_TRAITS[kind]
    assert traits.held == (traits.ceilings.hold_ms > 0)
    for step, value in (
        (100, traits.ceilings.hold_ms),
        (100, traits.ceilings.current_ma),
        (10, traits.ceilings.pulse_energy_mj),
    ):
        assert value % step == 0  # as the firmware's table holds it
        assert value // step <= 0xFF


def test_the_protocol_page_prints_the_ceilings():
    rows = re.findall(
        r"^\| (`[a-z_`, ]+`) \| (.+) \|$", (ROOT / "docs/protocol.md").read_text(), re.MULTILINE
    )
    printed = {
        name: cells
        for names, cells in rows
        if "ms | " in cells
        for name in names.replace("`", "").split(", ")
    }
    for load, (on_us, hold_ms, duty, current_ma) in MOST.items():
        hold = f"{hold_ms / 1000:g} s" if hold_ms else "never held"
        energy = f"{ENERGY_J[load]:g} J" if load in ENERGY_J else ""
        cells = [f"{on_us / 1000:g} ms", hold, f"{duty / 10:g} %", f"{current_ma / 1000:g} A", energy]
        assert printed[load.name.lower()] == " | ".join(cells).strip(" ")
