"""The load traits that the firmware holds to, as a C header."""

import math

from loomproof.facts.kinds import HazardClass, LoadKind
from loomproof.job.load_traits import (
    LEAST_SPARK_COIL_H,
    LOAD_TRAITS,
    PLAIN_CEILINGS,
    PULSE_SUPPLY_V,
    PULSE_US_MA_PER_MJ,
    SENSE_ENERGY_J,
)

_HEADER = """\
/* SPDX-License-Identifier: MIT */
/* What holds for every load of a kind, from load_traits.py by `python -m loomproof.job.publish`: do not edit */
#ifndef LOOMPROOF_LOAD_TRAITS_GEN_H
#define LOOMPROOF_LOAD_TRAITS_GEN_H

#include <stdbool.h>
#include <stdint.h>

#include "wire_gen.h"

/* Longest sense pulse of what sparks, us times mV: {energy_mj:g} mJ in {least_mh:g} mH.
 * t = sqrt(2 E L) / V, from E = (V t)^2 / (2 L). */
#define LOAD_SPARK_SENSE_US_MV {sense_us_mv}UL

/* Ceilings of the load classes: on-time in ms, hold in 100 ms, duty in percent, current in 100 mA, energy of one
 * pulse in 10 mJ (0: no limit of its own). */
/* clang-format off */
#define LOAD_CEILINGS {{ \\
{ceilings}}}
/* clang-format on */
/* Time by current, in us mA, that takes 10 mJ from {supply_v} V, more than any box drives from: E = V I t. */
#define LOAD_PULSE_US_MA_PER_10MJ {us_ma}UL

/* The hazard that a load class carries whatever the console says; `said` counts where a load may crank the engine. */
static inline uint8_t load_hazard(uint8_t load_class, uint8_t said)
{{
    switch (load_class) {{
{cases}    default:
        return WIRE_HAZARD_NONE;
    }}
}}

/* Driving it makes a spark. */
static inline bool load_sparks(uint8_t load_class)
{{
    return {sparks};
}}

#endif
"""


def traits_header() -> str:
    """Return `firmware/core/load_traits_gen.h`."""
    sparking = [kind for kind, traits in LOAD_TRAITS.items() if traits.sparks]
    return _HEADER.format(
        energy_mj=SENSE_ENERGY_J * 1e3,
        least_mh=LEAST_SPARK_COIL_H * 1e3,
        sense_us_mv=int(math.sqrt(2 * SENSE_ENERGY_J * LEAST_SPARK_COIL_H) * 1e9),
        ceilings="".join(_ceilings()),
        supply_v=PULSE_SUPPLY_V,
        us_ma=PULSE_US_MA_PER_MJ * 10,
        cases="".join(_cases()),
        sparks=" || ".join(f"load_class == {_load_class(kind)}" for kind in sparking) or "false",
    )


def _ceilings() -> list[str]:
    """Return a row for each load class."""
    rows = {"WIRE_LOAD_CLASS_NONE": PLAIN_CEILINGS}
    rows |= {_load_class(kind): traits.ceilings for kind, traits in LOAD_TRAITS.items()}
    return [
        f"    [{name}] = {{{row.on_time_ms}, {row.hold_ms // 100}, {row.duty_percent}, {row.current_ma // 100}, "
        f"{row.pulse_energy_mj // 10}}}, \\\n"
        for name, row in rows.items()
    ]


def _cases() -> list[str]:
    """Return the cases of the switch, one group for each answer."""
    groups: dict[str, list[LoadKind]] = {}
    for kind, traits in LOAD_TRAITS.items():
        if traits.hazard is not HazardClass.NONE or traits.may_crank:
            crank, own = _hazard(HazardClass.CRANK), _hazard(traits.hazard)
            answer = f"said == {crank} ? {crank} : {own}" if traits.may_crank else own
            groups.setdefault(answer, []).append(kind)
    return [
        "".join(f"    case {_load_class(kind)}:\n" for kind in kinds) + f"        return {answer};\n"
        for answer, kinds in groups.items()
    ]


def _load_class(kind: LoadKind) -> str:
    return f"WIRE_LOAD_CLASS_{kind.name}"


def _hazard(hazard: HazardClass) -> str:
    return f"WIRE_HAZARD_{hazard.name}"
