"""Whether a load type makes sense: the values its kind needs, and limits that physics allows.

Every catalogue entry, every load type of a job's own and every override passes through here.
"""

import math
from collections.abc import Iterator

from loomproof.facts.kinds import HazardClass, Suppression
from loomproof.job.load_traits import (
    HIGHEST_SUPPLY_V,
    LOAD_TRAITS,
    SENSE_ENERGY_J,
    Nature,
)
from loomproof.job.load_type import DriveLimits, LoadType, Train
from loomproof.job.problem import Flaw
from loomproof.job.sense import longest_sense_s

BOX_CURRENT_A = 20.0
"""The box's own over-current limit."""

QUANTITIES = (
    "resistance_ohm",
    "inductance_mh",
    "saturation_a",
    "pull_in_a",
    "opening_ms",
    "steady_current_a",
    "inrush_ratio",
    "flow_cc_min",
)


def load_flaws(load: LoadType) -> Iterator[Flaw]:
    """Yield what is wrong with a load type; paths are relative to it."""
    values = list(_value_flaws(load))
    yield from values
    yield from _nature_flaws(load)
    yield from _suppression_flaws(load)
    if not values:  # the limits are computed from the values
        yield from _limit_flaws(load)
    yield from train_flaws(load.train, load.limits)


def _value_flaws(load: LoadType) -> Iterator[Flaw]:
    needed = LOAD_TRAITS[load.kind].values
    for name in QUANTITIES:
        stated = getattr(load, name) is not None
        if name in needed and not stated:
            remedy = f'add {name} = {{ value = ..., tolerance_percent = ..., source = "..." }}'
            yield Flaw((name,), f"a load of kind {load.kind} needs it and it is missing", remedy)
        if stated and name not in needed:
            yield Flaw((name,), f"it means nothing for a load of kind {load.kind}", "remove it")


def _nature_flaws(load: LoadType) -> Iterator[Flaw]:
    traits = LOAD_TRAITS[load.kind]
    if load.moves != traits.moves:
        yield Flaw(
            ("moves",),
            f"a load of kind {load.kind} {'has' if traits.moves else 'has no'} an armature",
            f"write moves = {str(traits.moves).lower()}",
        )
    yield from _hazard_flaws(load)
    if load.fuel_pump and not traits.runs_pump:
        reason = f"a load of kind {load.kind} does not run a fuel pump"
        yield Flaw(("fuel_pump",), reason, "remove it")
    if load.peak_hold is not None and not traits.peak_hold:
        reason = f"a load of kind {load.kind} is not driven with peak and hold"
        yield Flaw(("peak_hold",), reason, "remove it")


def _hazard_flaws(load: LoadType) -> Iterator[Flaw]:
    traits = LOAD_TRAITS[load.kind]
    if traits.may_crank:
        if load.hazard is HazardClass.NONE:
            remedy = f'write hazard = "{traits.hazard}" or "{HazardClass.CRANK}"'
            yield Flaw(("hazard",), f"{traits.noun} moves something", remedy)
    elif traits.hazard not in (HazardClass.NONE, load.hazard):
        yield Flaw(
            ("hazard",),
            f"a load of kind {load.kind} is always a {traits.hazard} hazard, not {load.hazard}",
            f'write hazard = "{traits.hazard}"',
        )


def _suppression_flaws(load: LoadType) -> Iterator[Flaw]:
    resistor = load.suppression is Suppression.RESISTOR
    if resistor and load.suppression_ohm is None:
        remedy = 'add suppression_ohm = { value = 680, tolerance_percent = 10, source = "..." }'
        yield Flaw(("suppression_ohm",), "the suppression is a resistor of no stated value", remedy)
    if load.suppression_ohm is not None and not resistor:
        reason = f"it means nothing where the suppression is {load.suppression}"
        yield Flaw(("suppression_ohm",), reason, 'remove it, or write suppression = "resistor"')


def _limit_flaws(load: LoadType) -> Iterator[Flaw]:
    yield from _sense_flaws(load)
    limits = load.limits
    if not LOAD_TRAITS[load.kind].held and limits.max_hold_ms:
        reason = f"a load of kind {load.kind} may not be held on"
        yield Flaw(("limits", "max_hold_ms"), reason, "write 0")
    cap_ms = dwell_cap_ms(load)
    if cap_ms is not None and limits.max_on_time_ms > cap_ms:
        yield Flaw(
            ("limits", "max_on_time_ms"),
            f"{limits.max_on_time_ms:g} ms may saturate this coil at {HIGHEST_SUPPLY_V:g} V",
            f"write at most {_floor(cap_ms, 2):g}, or state saturation_a and inductance_mh more closely",
        )
    largest = largest_current_a(load)
    if limits.max_current_a < min(largest, BOX_CURRENT_A):
        yield Flaw(
            ("limits", "max_current_a"),
            f"a sound load may take {largest:.3g} A and would be switched off as a short",
            f"write at least {math.ceil(min(largest, BOX_CURRENT_A) * 100) / 100:g}",
        )


def _sense_flaws(load: LoadType) -> Iterator[Flaw]:
    cap_us = sense_cap_us(load)
    if cap_us is not None and load.limits.max_sense_us > cap_us:
        yield Flaw(
            ("limits", "max_sense_us"),
            f"{load.limits.max_sense_us} us at {HIGHEST_SUPPLY_V:g} V may move it or store over "
            f"{SENSE_ENERGY_J * 1e3:g} mJ in it",
            f"write at most {math.floor(cap_us)}",
        )


def sense_cap_us(load: LoadType) -> float | None:
    """Return the longest sense pulse in us at the highest supply, or None where nothing stores energy."""
    cap_s = longest_sense_s(
        load.kind,
        HIGHEST_SUPPLY_V,
        0.0 if load.inductance_mh is None else load.inductance_mh.low * 1e-3,
        None if load.pull_in_a is None else load.pull_in_a.low,
    )
    return cap_s * 1e6 if math.isfinite(cap_s) else None


def dwell_cap_ms(load: LoadType) -> float | None:
    """Return the longest pulse in ms for a bare coil, or None for anything else.

    It is the kind's share of the time a linear coil of the lowest L and R takes to its nominal saturation
    current at 16 V, t = -(L/R) ln(1 - I R / V).
    """
    dwell_share = LOAD_TRAITS[load.kind].dwell_share
    if dwell_share is None:
        return None
    if load.resistance_ohm is None or load.inductance_mh is None or load.saturation_a is None:
        return None
    lowest_ohm = load.resistance_ohm.low
    share = load.saturation_a.value * lowest_ohm / HIGHEST_SUPPLY_V
    if share >= 1:  # its resistance alone keeps it from saturating
        return None
    return -dwell_share * load.inductance_mh.low / lowest_ohm * math.log1p(-share)


def largest_current_a(load: LoadType) -> float:
    """Return the largest current in A that a sound load may draw within its limits at 16 V (logic: 5 V)."""
    if load.resistance_ohm is None:
        return 0.0
    traits = LOAD_TRAITS[load.kind]
    final = traits.highest_v / load.resistance_ohm.low
    if traits.dwell_share is not None and load.inductance_mh is not None:
        tau_ms = load.inductance_mh.low / load.resistance_ohm.low
        return -final * math.expm1(-load.limits.max_on_time_ms / tau_ms)
    if load.suppression_ohm is not None and traits.nature is not Nature.INPUT:
        final += traits.highest_v / load.suppression_ohm.low
    return final


def train_flaws(train: Train, limits: DriveLimits) -> Iterator[Flaw]:
    """Yield where a pulse train goes beyond limits; paths begin with `train`."""
    rows = (
        ("count", train.count, limits.max_count, "pulses"),
        ("frequency_hz", train.frequency_hz, limits.max_frequency_hz, "Hz"),
        ("on_time_ms", train.on_time_ms, limits.max_on_time_ms, "ms"),
    )
    for name, asked, most, unit in rows:
        if asked > most:
            reason = f"{asked:g} {unit} is over this load's limit of {most:g} {unit}"
            yield Flaw(("train", name), reason, f"write at most {most:g}")
    if train.duty > limits.max_duty * (1 + 1e-9):
        longest_ms = min(limits.max_duty * 1e3 / train.frequency_hz, limits.max_on_time_ms)
        yield Flaw(
            ("train", "on_time_ms"),
            f"{train.on_time_ms:g} ms at {train.frequency_hz:g} Hz is on for {train.duty:.1%} of the time; "
            f"this load's limit is {limits.max_duty:.1%}",
            f"write at most {_floor(longest_ms, 3):g}, or lower frequency_hz",
        )


def _floor(value: float, digits: int) -> float:
    scale = 10.0**digits
    return math.floor(value * scale) / scale
