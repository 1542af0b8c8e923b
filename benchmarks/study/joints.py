"""How small a bad joint is seen: the added resistance that 99 % of trials fail, and the false alarms that go with it.

Every trial asks the verdict's own limits: among sound sisters, or beside an own record, what a joint must add to the
channel's resistance before it is no longer passed, and before it is failed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loomproof.diagnose.rules.judge import judge
from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import ChannelEvidence, LoomEvidence
from loomproof.facts.kinds import JobSetting
from loomproof.facts.signature import Signature
from loomproof.facts.verdict import Property, Verdict
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.model import Channel, Connector, Feed, Job, LoomIdentity

SISTERS = 6
SPREAD = 0.015
"""Half width of the sisters' spread: a rectangular distribution."""
SCALE_U, RANDOM_U = 0.002, 0.0005
JOINT_OHM = 0.02
"""Sound terminals vary by this much, one standard deviation."""
SESSION_K, GRADIENT_K = 3.0, 0.7
"""A loom warms by up to this much within a session; its parts do not warm alike."""
RESEATED_OHM = 0.005
STEPS = np.concatenate([np.arange(0.0, 0.16, 0.0025), np.arange(0.16, 0.6, 0.02)])


@dataclass(frozen=True)
class Curve:
    """Shares of trials at each added part of R: no longer passed, and failed."""

    noticed: tuple[float, ...]
    failed: tuple[float, ...]

    def needed(self, wanted: float = 0.99) -> float:
        """Least added part from which on at least `wanted` of trials are no longer passed."""
        good = [s for s, p in zip(STEPS, self.noticed, strict=True) if p >= wanted]
        return float(good[0]) if good else float("nan")

    def failing(self, wanted: float = 0.99) -> float:
        good = [s for s, p in zip(STEPS, self.failed, strict=True) if p >= wanted]
        return float(good[0]) if good else float("nan")


@dataclass(frozen=True)
class JointLimits:
    """Both kinds of knowledge, on two loads."""

    sisters: dict[str, Curve]
    baseline: dict[str, Curve]
    trials: int

    def rows(self) -> list[list[str]]:
        out = []
        for words, must, stretch, curves in (
            ("bad joint among six sisters of +-1.5 %", "8 % of R", "6 %", self.sisters),
            ("bad joint against its own record, same session", "3 %", "1.8 %", self.baseline),
        ):
            for key, curve in curves.items():
                out.append(
                    [
                        f"{words}, {key}: 99 % no longer passed",
                        must,
                        stretch,
                        f"{100 * curve.needed():.1f} % of R at {100 * curve.noticed[0]:.2f} % false doubts "
                        f"(99 % failed: {100 * curve.failing():.1f} % of R, at {100 * curve.failed[0]:.2f} % false alarms)",
                        "",
                    ]
                )
        return out


def _job(key: str) -> Job:
    return Job(
        identity=LoomIdentity(title="six sisters", job_number="STUDY"),
        setting=JobSetting.BENCH,
        connectors=(Connector(id="H1", name="header", cavities=6),),
        feeds=(Feed(id="F1", name="feed"),),
        channels=tuple(
            Channel(channel=k, name=f"load {k}", cavity=f"H1-{k}", load=key, feed="F1", length_m=1.0)
            for k in range(1, SISTERS + 1)
        ),
    )


def _evidence(ohms: dict[int, float], baseline: dict[int, float] | None = None) -> LoomEvidence:
    def signature(ohm: float, channel: int) -> Signature:
        gain = ohm * SCALE_U * 2.0**0.5
        u = float(np.hypot(gain, RANDOM_U * ohm))
        return Signature(
            channel, resistance_ohm=Estimate(ohm, u, u_gain=gain), final_current_a=Estimate(13.5 / ohm, 0.001)
        )

    channels = {
        c: ChannelEvidence(
            c,
            resting_drain_v=13.5,
            signature=signature(ohm, c),
            baseline=signature(baseline[c], c) if baseline else None,
        )
        for c, ohm in ohms.items()
    }
    return LoomEvidence(channels=channels, supply_rest_v=13.5, baseline_same_box=baseline is not None)


def _verdict(job: Job, evidence: LoomEvidence, channel: int) -> Verdict:
    for v in judge(job, evidence):
        if v.channel == channel and v.property is Property.RESISTANCE:
            return v.verdict
    raise AssertionError("no verdict on the resistance")


def _search(
    job: Job, base: dict[int, float], before: dict[int, float] | None, wanted: frozenset[Verdict]
) -> float:
    """Least added part of channel 1 whose verdict is among `wanted`, by bisection over the steps."""
    low, high = 0, len(STEPS)
    ohm = base[1]
    while low < high:
        middle = (low + high) // 2
        ohms = {**base, 1: ohm * (1.0 + float(STEPS[middle]))}
        if _verdict(job, _evidence(ohms, before), 1) in wanted:
            high = middle
        else:
            low = middle + 1
    return float(STEPS[low]) if low < len(STEPS) else float("inf")


def _curve(noticed: list[float], failed: list[float]) -> Curve:
    return Curve(
        tuple(float(np.mean([x <= s for x in noticed])) for s in STEPS),
        tuple(float(np.mean([x <= s for x in failed])) for s in STEPS),
    )


def measure_joints(seed: int, trials: int) -> JointLimits:
    """Both curves for a 14 ohm and a 2.5 ohm injector."""
    sisters: dict[str, Curve] = {}
    baseline: dict[str, Curve] = {}
    for key in ("injector_high", "injector_low"):
        job = _job(key)
        nominal = CATALOGUE[key].resistance_ohm
        assert nominal is not None
        for kind, store in (("sisters", sisters), ("baseline", baseline)):
            rng = np.random.default_rng((seed, len(store), key == "injector_low", kind == "baseline"))
            noticed: list[float] = []
            failed: list[float] = []
            for _ in range(trials):
                base, before = _drawn(
                    rng, nominal.value, nominal.tolerance_percent / 100.0, kind == "baseline"
                )
                noticed.append(_search(job, base, before, frozenset({Verdict.UNSURE, Verdict.FAIL})))
                failed.append(_search(job, base, before, frozenset({Verdict.FAIL})))
            store[f"{nominal.value:g} ohm"] = _curve(noticed, failed)
    return JointLimits(sisters, baseline, trials)


def _drawn(
    rng: np.random.Generator, nominal: float, tolerance: float, own: bool
) -> tuple[dict[int, float], dict[int, float] | None]:
    """What six channels measure now, and in the earlier record."""
    batch = nominal * (1.0 + 0.6 * tolerance * float(rng.uniform(-1, 1)))
    true = (
        batch * (1.0 + SPREAD * rng.uniform(-1, 1, SISTERS))
        + 0.1
        + JOINT_OHM * np.abs(rng.standard_normal(SISTERS))
    )
    scale = 1.0 + SCALE_U * 2.0**0.5 * rng.standard_normal(SISTERS)
    noise = RANDOM_U * rng.standard_normal((2, SISTERS))
    warm = 0.00393 * (rng.uniform(-SESSION_K, SESSION_K) + GRADIENT_K * rng.standard_normal(SISTERS))
    moved = RESEATED_OHM * rng.standard_normal(SISTERS)
    now = (true * (1.0 + warm) + moved) * scale * (1.0 + noise[0]) if own else true * scale * (1.0 + noise[0])
    before = true * scale * (1.0 + noise[1])
    numbers = range(1, SISTERS + 1)
    return (
        {c: float(now[c - 1]) for c in numbers},
        {c: float(before[c - 1]) for c in numbers} if own else None,
    )


__all__ = ["Curve", "JointLimits", "measure_joints"]
