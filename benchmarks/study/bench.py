"""One loom on one bare board: what the product's own run sheet sees of it, with hands and ears that are mistaken at times."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchmarks.study.parts import Ripple, Truth
from loomproof.cli.prove.simulated_operator import SimulatedOperator
from loomproof.facts.evidence import LoomEvidence
from loomproof.job.load_traits import LOGIC_KINDS
from loomproof.job.model import Job
from loomproof.procedure.prompts import Answer, Choice, Prompt, PromptKind
from loomproof_sim.hands.local import BoxHands, SimHands
from loomproof_sim.plant.plant import Plant
from loomproof_sim.plant.spec import BranchSpec, WoundSpec
from loomproof_sim.profiles import BoardProfile
from testbed.bareboard import BareBoard
from testbed.barebox import BareBox
from testbed.baresheet import BareSheet

Floats = NDArray[np.float64]
MISHEARD = 0.01
"""How often the operator is mistaken about what was heard or seen."""


class StudyOperator(SimulatedOperator):
    """Now and then mistaken about what was heard or seen."""

    def __init__(self, hands: BoxHands, job: Job, rng: np.random.Generator) -> None:
        super().__init__(hands, job)
        self._rng = rng

    def answer(self, prompt: Prompt) -> Answer:
        """Answer at once, rarely wrongly."""
        given = super().answer(prompt)
        if prompt.kind is PromptKind.NOTICED and self._rng.random() < MISHEARD:
            return replace(given, choice=Choice.HEARD if given.choice is Choice.NOTHING else Choice.NOTHING)
        return given


class StudyBench(BareBoard):
    """`evidence()` is what a complete run sheet gathers.

    Args:
        job: what is said to be wired.
        truth: what is.
        board: whose read-back.
        rng: draws what is left to chance.
        wired: which channel's wire really ends at the load that the job puts on each channel.
        noise: how many times noisier the read-back is than the board says.
        gain: how many times further off its scales are.
    """

    def __init__(
        self,
        job: Job,
        truth: Truth,
        board: BoardProfile,
        rng: np.random.Generator,
        wired: dict[int, int],
        *,
        noise: float = 1.0,
        gain: float = 1.0,
    ) -> None:
        self.job, self.truth, self.rng, self.wired = job, truth, rng, wired
        seed = int(rng.integers(1 << 31))
        super().__init__(Plant(truth.loom, seed=seed), board, seed, noise=noise, gain=gain)

    def evidence(self) -> LoomEvidence:
        """Everything, in the order of the run sheet."""
        box = BareBox(self.job, self)
        hands = SimHands(box, self.plant, self.job, self.wired)
        return BareSheet(self.job, box, StudyOperator(hands, self.job, self.rng)).evidence()

    def _sampled(self, channel: int, times: Floats, off_s: float) -> tuple[Floats, Floats, Floats]:
        """Current, supply and pin at their own instants, the ripple on top."""
        amps, volts, pins = super()._sampled(channel, times, off_s)
        ripple = self.truth.ripple
        if not ripple.amplitude_v or self.job.load_type(channel).kind in LOGIC_KINDS:
            return amps, volts, pins
        board, start = self.board, self.now_s
        late_v, late_pin = times + board.supply_skew_ns * 1e-9, times + board.drain_skew_ns * 1e-9
        pin_amps = self.plant.sample_many(channel, start + late_pin)[0]
        supply = float(np.median(volts))
        more = self._ripple_a(channel, times, off_s, amps, supply)
        pin_more = self._ripple_a(channel, late_pin, off_s, pin_amps, supply)
        on = late_pin < off_s
        follows = ~on & (pins > 0.5 * supply) & (pins < 1.3 * supply)
        drop = np.divide(pins, pin_amps, out=np.zeros_like(pins), where=np.abs(pin_amps) > 1e-3)
        flowing = ~on & (np.abs(pin_amps) < 1e-3) & (pin_more > 2e-3)  # its decay ends a little later
        pins = pins + np.where(on, pin_more * drop, 0.0) + follows * _wave(ripple, start + late_pin)
        pins = np.where(flowing, self.truth.loom.driver(channel).clamp_v, pins)
        return amps + more, volts + _wave(ripple, start + late_v), pins

    def _ripple_a(self, channel: int, times: Floats, off_s: float, amps: Floats, supply_v: float) -> Floats:
        """Current that the ripple adds, to first order: a sound winding by its own R and L, all else in proportion."""
        ripple, on = self.truth.ripple, times < off_s
        branch = self.truth.loom.branch(channel)
        wave = _wave(ripple, self.now_s + times)
        if not _plain(branch) or np.abs(amps).max(initial=0.0) < 0.02:
            return np.where(on, amps * wave / supply_v, 0.0)
        load = branch.load
        assert isinstance(load, WoundSpec)
        heat = 1.0 + load.temperature_coefficient_per_k * (self.truth.temperature_c - 20.0)
        ohm = load.resistance_ohm * heat + branch.wire_ohm + branch.series_ohm + 0.1
        omega = 2.0 * np.pi * ripple.frequency_hz
        size = ripple.amplitude_v / np.hypot(ohm, omega * load.inductance_h)
        phase = omega * self.now_s + ripple.phase - np.arctan2(omega * load.inductance_h, ohm)

        def driven(t: Floats) -> Floats:
            steady = np.sin(omega * t + phase) - np.sin(phase) * np.exp(-t * ohm / load.inductance_h)
            out: Floats = size * steady
            return out

        rest = np.zeros_like(amps)
        if load.suppression.kind == "none":
            rest = self._ripple_left(
                times, off_s, amps, float(driven(np.array([off_s]))[0]), load.inductance_h
            )
        return np.where(on, driven(times), rest)

    def _ripple_left(
        self, times: Floats, off_s: float, amps: Floats, left_a: float, inductance_h: float
    ) -> Floats:
        """What is left of it while the clamp takes the current down: the decay ends earlier or later by so much."""
        slope = (self.board.clamp_v - self.truth.loom.supply.emf_v) / inductance_h
        falling = (times >= off_s) & (amps > 1e-3)
        end_s = float(times[falling][-1]) if falling.any() else off_s
        after = np.maximum(0.0, left_a - slope * np.maximum(times - end_s, 0.0)) if left_a > 0.0 else 0.0
        return np.where(falling, np.maximum(left_a, -amps), after)


def _wave(ripple: Ripple, times: Floats) -> Floats:
    wave: Floats = ripple.amplitude_v * np.sin(2.0 * np.pi * ripple.frequency_hz * times + ripple.phase)
    return wave


def _plain(branch: BranchSpec) -> bool:
    """A sound winding between feed and pin."""
    load = branch.load
    paths = (branch.to_ground_ohm, branch.to_supply_ohm, branch.across_load_ohm)
    return (
        isinstance(load, WoundSpec) and not load.shorted_fraction and not branch.open and paths == (None,) * 3
    )
