"""A loom of a job on a bare board, with hands and ears: straight into the evidence of a complete run sheet."""

from __future__ import annotations

from collections.abc import Sequence

from loomproof.facts.evidence import ChannelEvidence, LoomEvidence, Noticed, PullResult
from loomproof.facts.signature import Signature
from loomproof.facts.trace import Trace
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import FILAMENT_KINDS, LOGIC_KINDS, MOVING_KINDS
from loomproof.job.model import Job
from loomproof.measure.signature import measure
from loomproof.procedure.steps.look import LEAST_SENSE_US, sense_samples, what_sense_shows
from loomproof.procedure.steps.pull_verdict import judge_pull
from loomproof.procedure.walk.scan import rests_away
from loomproof_sim.fault_text import parse_fault, put_fault
from loomproof_sim.hands.local import NOWHERE, connector_map
from loomproof_sim.hands.observation import acted
from loomproof_sim.loom import Draw, sound_loom
from loomproof_sim.plant.plant import Plant
from loomproof_sim.plant.spec import SupplySpec
from loomproof_sim.profiles import REFERENCE, BoardProfile
from testbed.bareboard import PAUSE_S, BareBoard

SENSE_LIMIT_A = 20.0
"""More than any channel of a box is configured to trip at."""
COOLING_S = 30.0
"""After a lamp's pulse: a filament cools slowly."""


class LoomBench(BareBoard):
    """One loom on one box; `evidence()` is what a complete run sheet would gather.

    Args:
        job: what is wired.
        faults: put into the sound loom, in the simulator's words.
        seed: of the loom's parameters and of the read-back.
        spread: of the parameters, as `loomproof_sim.loom.Draw` takes it.
        supply_v: without load, in V.
        temperature_c: of the loom; the job's ambient when left out.
        board: whose read-back.
        listening: whether anyone says what was heard or seen.
    """

    def __init__(
        self,
        job: Job,
        faults: Sequence[str] = (),
        *,
        seed: int = 0,
        spread: float = 0.6,
        supply_v: float = 13.5,
        temperature_c: float | None = None,
        board: BoardProfile = REFERENCE,
        listening: bool = True,
    ) -> None:
        self.job, self.supply_v, self.listening = job, supply_v, listening
        draw = Draw(seed, spread)
        heat = job.ambient_c if temperature_c is None else temperature_c
        loom = sound_loom(job, draw, board, SupplySpec(supply_v, 0.03), heat)
        texts = [parse_fault(fault, job) for fault in faults]
        for text in texts:
            loom = put_fault(loom, text, job, draw)
        self.wired = connector_map(job, texts)
        super().__init__(Plant(loom, seed=seed), board, seed)

    def traces(self, channel: int) -> list[Trace]:
        """The load's own measuring pulses."""
        load = self.job.load_type(channel)
        pause_s = COOLING_S if load.kind in FILAMENT_KINDS else PAUSE_S
        return self.measuring_pulses(channel, load, self.job.wire_ohm(channel), self.supply_v, pause_s)

    def channel_evidence(self, channel: int) -> ChannelEvidence:
        """What the run sheet would gather of one channel."""
        load = self.job.load_type(channel)
        rest, _ = self.rest(channel)
        sense = self._sensed(channel, load)
        if self.job.channel(channel).partner is not None:
            # A half-bridge pair is driven as a pair; nothing of it is measured on one pin.
            return ChannelEvidence(channel, resting_drain_v=rest, noticed=Noticed.HEARD)
        traces = self.traces(channel)
        moved = self.plant.moved(channel)
        signature = measure(traces, load)
        return ChannelEvidence(
            channel,
            resting_drain_v=rest,
            sense=sense.sense,
            sense_current_a=sense.sense_current_a,
            sense_current_u_a=sense.sense_current_u_a,
            sense_on_time_s=sense.sense_on_time_s,
            signature=signature,
            noticed=self.noticed(load, signature, moved=moved),
            tripped=any(t.tripped for t in traces) or sense.tripped,
            pull=self.pull(channel),
        )

    def _sensed(self, channel: int, load: LoadType) -> ChannelEvidence:
        """As the passive look."""
        longest_us = load.limits.max_sense_us
        if longest_us < LEAST_SENSE_US:
            return ChannelEvidence(channel)
        samples = sense_samples(longest_us, self.board.sample_period_ns)
        pause_s = COOLING_S if load.kind in FILAMENT_KINDS else PAUSE_S
        period_s = self.board.sample_period_ns * 1e-9
        trace = self.pulse(channel, longest_us * 1e-6, period_s, samples, SENSE_LIMIT_A, pause_s=pause_s)
        return what_sense_shows(trace, load)

    def noticed(self, load: LoadType, signature: Signature, *, moved: bool) -> Noticed:
        """What an attentive operator says."""
        if not self.listening:
            return Noticed.NOT_ASKED
        final = signature.final_current_a
        flows = final is not None and final.value > 5 * final.u and not signature.tripped
        if load.kind in MOVING_KINDS:
            return Noticed.HEARD if moved else Noticed.NOTHING
        if load.kind in LOGIC_KINDS:
            flows = acted(self.plant, signature.channel)
        return Noticed.SEEN if flows else Noticed.NOTHING

    def pull(self, channel: int) -> PullResult:
        """Pull the connector that the job puts on this channel; see whose pin moves."""
        numbers = [c.channel for c in self.job.channels if c.fitted]
        before = {c for c in numbers if rests_away(self.reading(c))}
        really = self.wired[channel]
        if really == NOWHERE:
            return PullResult(channel, (), "none")
        self.plant.pull(really, self.now_s)
        self.now_s += 0.1
        lost = tuple(c for c in numbers if c in before and not rests_away(self.reading(c)))
        self.plant.seat(really, self.now_s)
        self.now_s += 0.2
        if self.job.load_type(channel).kind in LOGIC_KINDS:
            return PullResult(channel, (), "skipped")
        return PullResult(channel, lost, judge_pull(channel, (channel,), lost))

    def evidence(self) -> LoomEvidence:
        """Everything, channel by channel."""
        numbers = [c.channel for c in self.job.channels if c.fitted]
        _, supply = self.rest(numbers[0])
        return LoomEvidence(
            channels={c: self.channel_evidence(c) for c in numbers},
            supply_rest_v=supply,
            drain_u_v=0.05,
        )
