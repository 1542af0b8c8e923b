"""What every channel's inductance should be, by the job and its sisters; no temperature changes it."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from loomproof.diagnose.predict.odds import Predicted, ValueShift
from loomproof.diagnose.predict.part_set import HENRY_SPREADS, Part, PartSet
from loomproof.facts.estimate import Estimate
from loomproof.facts.kinds import LoadKind
from loomproof.job.load_traits import LOAD_TRAITS, WOUND_KINDS
from loomproof.job.model import Job

_MOST_LOST = 0.6  # of the inductance; beyond it, it is another part


def predicted_inductances(job: Job, measured: Mapping[int, Estimate]) -> dict[int, Predicted]:
    """What every channel's inductance should be, in H.

    Args:
        job: the loom's.
        measured: each channel's inductance, in H.
    """
    groups: dict[str, list[int]] = {}
    for item in job.channels:
        load, seen = job.load_type(item.channel), measured.get(item.channel)
        if (
            item.fitted
            and seen is not None
            and seen.value > 0.0
            and load.kind in WOUND_KINDS
            and load.inductance_mh
        ):
            groups.setdefault(f"{item.load}|{item.override}", []).append(item.channel)
    out: dict[int, Predicted] = {}
    for channels in groups.values():
        due = job.load_type(channels[0]).inductance_mh
        assert due is not None
        stated, kind = due.value * 1e-3, job.load_type(channels[0]).kind
        parts = PartSet(
            tuple(Part(c, math.log(measured[c].value / stated), _blur(measured[c], kind)) for c in channels),
            due.tolerance_percent / 100.0,
            HENRY_SPREADS,
        )
        henry = stated * np.exp(parts.grid)
        for channel, row in zip(channels, parts.predictions(parts.flat()), strict=True):
            mass = row * parts.step
            fault = ValueShift(job.matters.lost_turns_percent / 100.0, _MOST_LOST)
            out[channel] = Predicted(
                henry, mass / mass.sum(), row / henry, fault, stated, adds=False, alone=len(channels) == 1
            )
    return out


def _blur(measured: Estimate, kind: LoadKind) -> float:
    times, share = LOAD_TRAITS[kind].inductance_strays
    return math.hypot(times * measured.relative, share)
