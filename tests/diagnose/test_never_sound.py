"""No evidence with a gross fault in it, and none with the proof left out, makes a channel pass."""

from dataclasses import dataclass, replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loomproof.diagnose.explain.find import find
from loomproof.diagnose.rules.judge import judge
from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import Noticed, PullResult
from loomproof.facts.kinds import LoadKind
from loomproof.facts.signature import HasMoved, OffShape
from loomproof.facts.verdict import Verdict, channel_verdict

CHANNELS = (1, 3, 5, 8, 11)  # injector, injector, bare coil, relay with resistor, lamp or valve
QUICK = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture(scope="module")
def loom(bench):
    lab = bench("boat", seed=31)
    job, evidence = lab.job, lab.evidence()
    verdicts = judge(job, evidence)
    assert {channel_verdict(verdicts, c) for c in CHANNELS} == {Verdict.PASS}
    return job, evidence


def scaled(signature, factor, u):
    due = signature.resistance_ohm
    return replace(signature, resistance_ohm=Estimate(due.value * factor, due.value * factor * u))


def resting(volts):
    return lambda job, own: replace(own, resting_drain_v=volts)


@dataclass(frozen=True)
class WrongResistance:
    """Another resistance by a factor. At most one in a list of faults: two may cancel, which is no fault."""

    factor: float
    u: float

    def __call__(self, job, own):
        sense = own.sense
        if sense is not None and sense.resistance_ohm is not None:  # a lamp's, cold
            sense = scaled(sense, self.factor, self.u)
        return replace(own, signature=scaled(own.signature, self.factor, self.u), sense=sense)


def kind_of(fault):
    return WrongResistance if isinstance(fault, WrongResistance) else fault


def no_current(job, own):
    none = Estimate(0.0, 1e-4)
    return replace(
        own,
        signature=replace(own.signature, resistance_ohm=None, inductance_h=None, final_current_a=none),
    )


def pulled(outcome, lost):
    return lambda job, own: replace(own, pull=PullResult(own.channel, lost, outcome))


def still(job, own):
    load = job.load_type(own.channel)
    if not load.moves:
        return replace(own, tripped=True)
    return replace(own, signature=replace(own.signature, moved=HasMoved.NO), noticed=Noticed.NOTHING)


def other_ending(job, own):
    if job.load_type(own.channel).kind not in {LoadKind.INJECTOR, LoadKind.RELAY, LoadKind.VALVE}:
        return replace(own, tripped=True)
    return replace(own, signature=replace(own.signature, off_shape=OffShape.DIODE))


GROSS = st.one_of(
    st.floats(2.2, 2.8).map(resting),
    st.floats(0.0, 0.4).map(resting),
    st.floats(4.0, 9.0).map(resting),
    st.tuples(st.floats(1.9, 50.0), st.floats(1e-4, 0.05)).map(lambda pair: WrongResistance(*pair)),
    st.tuples(st.floats(0.02, 0.5), st.floats(1e-4, 0.05)).map(lambda pair: WrongResistance(*pair)),
    st.just(no_current),
    st.just(lambda job, own: replace(own, tripped=True)),
    st.integers(1, 200).map(lambda n: lambda job, own: replace(own, dropouts=n, watched=True)),
    st.just(pulled("other", (2,))),
    st.just(pulled("several", (2, 4))),
    st.just(pulled("none", ())),
    st.just(still),
    st.just(other_ending),
)


@QUICK
@given(channel=st.sampled_from(CHANNELS), faults=st.lists(GROSS, min_size=1, max_size=3, unique_by=kind_of))
def test_no_channel_with_a_gross_fault_passes(loom, channel, faults):
    job, evidence = loom
    own = evidence.of(channel)
    for fault in faults:
        if own.signature.resistance_ohm is not None or fault in (still, other_ending):
            own = fault(job, own)
    changed = replace(evidence, channels={**evidence.channels, channel: own})
    assert channel_verdict(judge(job, changed), channel) in {Verdict.FAIL, Verdict.UNSURE}


@settings(QUICK, max_examples=25)
@given(channel=st.sampled_from(CHANNELS), fault=GROSS)
def test_every_failed_channel_is_in_a_finding_with_its_cavity(loom, channel, fault):
    job, evidence = loom
    own = fault(job, evidence.of(channel))
    changed = replace(evidence, channels={**evidence.channels, channel: own})
    verdicts = judge(job, changed)
    findings = find(job, changed, verdicts)
    if channel_verdict(verdicts, channel) is Verdict.FAIL:
        mine = [f for f in findings if channel in f.channels]
        assert mine
        assert all(job.channel(channel).cavity in f.cavities for f in mine)
    for finding in findings:
        assert finding.remedy
        assert finding.next_measurement
        assert 0.0 <= finding.likelihood <= finding.together <= 1.0


@QUICK
@given(
    channel=st.sampled_from(CHANNELS),
    gone=st.sets(st.sampled_from(["resting_drain_v", "sense", "pull", "noticed"])),
)
def test_without_its_pulse_a_channel_never_passes(loom, channel, gone):
    job, evidence = loom
    blank = {name: Noticed.NOT_ASKED if name == "noticed" else None for name in gone}
    own = replace(evidence.of(channel), signature=None, **blank)
    changed = replace(evidence, channels={**evidence.channels, channel: own})
    assert channel_verdict(judge(job, changed), channel) is not Verdict.PASS


@QUICK
@given(channel=st.sampled_from(CHANNELS), worse=st.floats(0.5, 20.0))
def test_an_uncertain_resistance_does_not_pass_for_being_uncertain(loom, channel, worse):
    job, evidence = loom
    own = evidence.of(channel)
    ohm = own.signature.resistance_ohm
    vague = replace(own.signature, resistance_ohm=Estimate(ohm.value, ohm.value * worse))
    own = replace(own, signature=vague, sense=None)
    changed = replace(evidence, channels={**evidence.channels, channel: own})
    assert channel_verdict(judge(job, changed), channel) is not Verdict.PASS
