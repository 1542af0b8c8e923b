"""One random loom from its seed to what was said of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchmarks.study.bench import StudyBench
from benchmarks.study.faults import Planted, Planter, plant_faults
from benchmarks.study.jobs import random_job
from benchmarks.study.parts import Truth, draw_truth
from loomproof.diagnose.explain.find import find
from loomproof.diagnose.rules.judge import judge
from loomproof.facts.evidence import LoomEvidence
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.signature import HasMoved
from loomproof.facts.verdict import Property, PropertyVerdict, channel_verdict
from loomproof.job.load_traits import LOAD_TRAITS, Nature
from loomproof.job.model import Job
from loomproof_sim.hands.local import connector_map
from loomproof_sim.plant.spec import MovingSpec
from loomproof_sim.profiles import REFERENCE, TWELVE_BIT, BoardProfile

BOARDS = (REFERENCE, TWELVE_BIT)
SOUND_SHARE, DOUBLE_SHARE = 0.35, 0.15
MOST_TRIES = 200
ALL_KINDS = tuple(FaultKind)


@dataclass(frozen=True)
class Said:
    """One finding, as far as the study goes."""

    kind: str
    channels: tuple[int, ...]
    twins: tuple[str, ...]
    feed: str | None
    likelihood: float


@dataclass(frozen=True)
class Number:
    """One number judged by the odds of a fault.

    Attributes:
        property: which.
        verdict: the word.
        log_odds: natural logarithm of how much likelier it is with a fault.
        faulty: whether a fault really touches its channel.
        group: what is known of such a channel, for the table of joints; empty for other numbers than resistances.
        room: added resistance that it would have taken to be no longer passed, as a share of the stated one.
        stated: the joint that the record says would be seen, as a share too.
    """

    property: str
    verdict: str
    log_odds: float
    faulty: bool
    group: str = ""
    room: float = 0.0
    stated: float = 0.0


@dataclass(frozen=True)
class Outcome:
    """One loom.

    `words` are the verdicts of its channels; `moving` what the current said of each armature, `strokes` whether its true
    stroke is at least the smallest usual one.
    """

    seed: int
    board: str
    law: str
    job: str
    planted: tuple[Planted, ...]
    words: dict[int, str]
    found: tuple[Said, ...]
    moving: dict[int, str]
    strokes: dict[int, bool]
    numbers: tuple[Number, ...]
    """Every number that was judged by its odds."""
    reasons: dict[int, str]
    error: str = ""

    @property
    def touched(self) -> frozenset[int]:
        """Channels of the planted faults."""
        return frozenset(c for p in self.planted for c in p.channels)


@dataclass(frozen=True)
class Loom:
    """A drawn loom before anything is measured."""

    job: Job
    truth: Truth
    board: BoardProfile
    planted: tuple[Planted, ...]
    bench: StudyBench


def draw_loom(seed: int, faults: int | None = None, kinds: Sequence[str] = ALL_KINDS) -> Loom:
    """The loom of a seed; `faults` fixes how many it has, `kinds` what they may be."""
    rng = np.random.default_rng((seed, 77))
    board = BOARDS[seed % 2]
    job = random_job(rng)
    truth, draw = draw_truth(job, rng, board)
    roll = rng.random()
    if faults is None:
        faults = 0 if roll < SOUND_SHARE else 2 if roll > 1.0 - DOUBLE_SHARE else 1
    planter, planted = Planter(job, rng, draw), list[Planted]()
    for _ in range(MOST_TRIES):
        if len(planted) == faults:
            break
        one = planter.choose(frozenset(c for p in planted for c in p.channels), kinds)
        if one is not None:
            planted.append(one)
    truth = replace(truth, loom=plant_faults(truth.loom, planted))
    bench = StudyBench(
        job,
        truth,
        board,
        rng,
        connector_map(job, [fault for one in planted for fault in one.faults]),
        noise=float(rng.uniform(0.7, 1.5)),
        gain=float(rng.uniform(0.5, 1.5)),
    )
    return Loom(job, truth, board, tuple(planted), bench)


def run(seed: int, faults: int | None = None, kinds: Sequence[str] = ALL_KINDS) -> Outcome:
    """Draw, measure, judge, find."""
    loom = draw_loom(seed, faults, kinds)
    shape = " ".join(sorted(c.load for c in loom.job.channels))
    blank = Outcome(seed, loom.board.key, loom.truth.loom.law, shape, loom.planted, {}, (), {}, {}, (), {})
    try:
        evidence = loom.bench.evidence()
        verdicts = judge(loom.job, evidence)
        findings = find(loom.job, evidence, verdicts)
    except Exception as error:  # noqa: BLE001 - a loom that breaks the program is a result, and is counted
        return replace(blank, error=f"{type(error).__name__}: {error}")
    fitted = [c.channel for c in loom.job.channels if c.fitted]
    words = {c: str(channel_verdict(verdicts, c)) for c in fitted}
    worst = {
        c: "; ".join(
            f"{v.property}: {v.reason}" for v in verdicts if v.channel == c and str(v.verdict) == words[c]
        )
        for c in fitted
        if words[c] != "pass"
    }
    return replace(
        blank,
        words=words,
        reasons=worst,
        found=tuple(
            Said(str(f.fault), f.channels, tuple(map(str, f.cannot_tell_from)), f.feed, f.likelihood)
            for f in findings
        ),
        moving=_moving(loom, evidence),
        strokes=_strokes(loom),
        numbers=_numbers(loom, verdicts),
    )


def _moving(loom: Loom, evidence: LoomEvidence) -> dict[int, str]:
    """What the current alone said of every armature on an otherwise sound circuit."""
    out = {}
    for item in loom.job.channels:
        signature = evidence.of(item.channel).signature
        if signature is not None and loom.job.load_type(item.channel).moves:
            out[item.channel] = str(signature.moved or HasMoved.CANNOT_TELL)
    return out


def _strokes(loom: Loom) -> dict[int, bool]:
    out = {}
    for branch in loom.truth.loom.branches:
        if isinstance(branch.load, MovingSpec) and branch.channel in {c.channel for c in loom.job.channels}:
            landing = LOAD_TRAITS[loom.job.load_type(branch.channel).kind].landing
            out[branch.channel] = landing is None or branch.load.stroke_gain >= landing.usual_stroke
    return out


def _numbers(loom: Loom, verdicts: tuple[PropertyVerdict, ...]) -> tuple[Number, ...]:
    """Every number judged by its odds, with what was really there."""
    touched = {c for p in loom.planted for c in p.channels}
    out = []
    for v in verdicts:
        if v.log_odds is None:
            continue
        own = Number(str(v.property), str(v.verdict), v.log_odds, v.channel in touched)
        if v.property is Property.RESISTANCE and v.measured is not None and v.high is not None:
            load = loom.job.load_type(v.channel)
            assert load.resistance_ohm is not None
            ohm = load.resistance_ohm.value
            room, stated = (v.high - v.measured.value) / ohm, (v.least_joint_ohm or 0.0) / ohm
            own = replace(own, group=_knowledge(loom.job, v.channel), room=room, stated=stated)
        out.append(own)
    return tuple(out)


def _knowledge(job: Job, channel: int) -> str:
    """What is known of a channel's resistance: its kind, and its sisters or its tolerance."""
    load, sisters = job.load_type(channel), len(job.sisters(channel))
    kind = "winding" if LOAD_TRAITS[load.kind].nature is Nature.WINDING else str(load.kind).replace("_", " ")
    if sisters:
        return f"{kind}, {'1 sister' if sisters == 1 else '2 sisters or more'}"
    assert load.resistance_ohm is not None
    return f"{kind} alone, +-{load.resistance_ohm.tolerance_percent:g} %"
