"""Any sequence of steps, statements, events and findings comes back as it was written."""

from __future__ import annotations

import math
import tempfile
from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loomproof.facts.estimate import Estimate
from loomproof.facts.evidence import Noticed
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.finding import Finding
from loomproof.facts.record import EventKind, EventNoted, StatementMade, StepBegan
from loomproof.facts.step import StepEnd, StepKind
from loomproof.facts.trace_counts import TraceCounts
from loomproof.facts.verdict import Property, PropertyVerdict, Verdict
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.records.canonical import canonical_json
from loomproof.records.models import FindingsFact, StatementFact
from loomproof.records.store import RecordStore

names = st.text(max_size=12)  # any Unicode, also surrogates' neighbours, quotes, control characters, NUL
finite = st.floats(allow_nan=False, allow_infinity=False)
channels = st.integers(1, 16)
json_values = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**63), 2**63) | finite | names,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(names, inner, max_size=3),
    max_leaves=6,
)
json_objects = st.dictionaries(names, json_values, max_size=3)


@st.composite
def trace_counts(draw):
    samples = draw(st.integers(0, 30))
    arrays = [
        np.array(draw(st.lists(st.integers(0, 65535), min_size=samples, max_size=samples)), dtype=np.uint16)
        for _ in range(4)
    ]
    return TraceCounts(
        draw(channels),
        draw(st.integers(0, 65535)),
        draw(st.integers(1, 2**32 - 1)),
        draw(st.integers(10, 100_000)),
        draw(st.integers(-(2**31), 2**31 - 1)),
        draw(st.integers(-(2**15), 2**15 - 1)),
        draw(st.integers(-(2**15), 2**15 - 1)),
        draw(st.booleans()),
        draw(st.booleans()),
        *arrays,
        purpose=draw(st.sampled_from(["drive", "sense", "watch"])),
    )


estimates = st.builds(
    Estimate, finite, finite.map(abs), st.one_of(st.just(math.inf), st.floats(1, 1e6)), u_gain=st.just(0.0)
)
verdicts = st.builds(
    PropertyVerdict,
    channels,
    st.sampled_from(Property),
    st.sampled_from(Verdict),
    st.none() | estimates,
    st.none() | finite,
    st.none() | finite,
    names,
    names,
    names,
)
findings = st.builds(
    Finding,
    st.sampled_from(FaultKind),
    st.lists(channels, max_size=3).map(tuple),
    st.lists(names, max_size=3).map(tuple),
    st.none() | names,
    st.none() | names,
    st.floats(0, 1),
    st.lists(names, max_size=2).map(tuple),
    st.lists(names, max_size=2).map(tuple),
    names,
    names,
    names,
)
outcomes = st.builds(
    StepOutcome,
    step_id=names,
    attempt=st.integers(1, 9),
    kind=st.sampled_from(StepKind),
    began_s=finite,
    ended_s=finite,
    end=st.sampled_from(StepEnd),
    verdict=st.sampled_from(Verdict),
    channel=st.none() | channels,
    noticed=st.sampled_from(Noticed),
    skipped_reason=names,
    note=names,
    measured=json_objects,
)
actions = st.one_of(
    st.tuples(
        st.just("step_began"), st.builds(StepBegan, names, st.integers(1, 9), names, names, channels, finite)
    ),
    st.tuples(st.just("step_ended"), outcomes, st.lists(trace_counts(), max_size=2)),
    st.tuples(
        st.just("statement"),
        st.builds(
            StatementMade,
            names,
            names,
            st.lists(names, max_size=3).map(tuple),
            names,
            finite,
            st.none() | finite,
        ),
    ),
    st.tuples(
        st.just("event"),
        st.builds(EventNoted, st.sampled_from(EventKind), names, finite, st.none() | channels, json_objects),
    ),
    st.tuples(st.just("findings"), st.lists(verdicts, max_size=3), st.lists(findings, max_size=2)),
)


def assert_same_counts(read, written):
    for name in ("fine", "wide", "supply", "drain"):
        np.testing.assert_array_equal(getattr(read, name), getattr(written, name))
    facts = [n for n in TraceCounts.__dataclass_fields__ if n not in ("fine", "wide", "supply", "drain")]
    assert [getattr(read, n) for n in facts] == [getattr(written, n) for n in facts]


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(actions, max_size=8), st.data())
def test_any_sequence_comes_back(make, sequence, data):
    with tempfile.TemporaryDirectory() as folder, RecordStore(Path(folder) / "r.sqlite3") as store:
        recorder = store.recorder()
        make.begin(recorder)
        cut = data.draw(st.integers(0, len(sequence)), label="left and carried on after")
        for number, (method, *arguments) in enumerate(sequence):
            if number == cut:
                recorder = store.resume(recorder.record_id).recorder
                make.begin(recorder)
            getattr(recorder, method)(*arguments)
        record = store.read(recorder.record_id)
        assert record.chain.holds
        entries = [e for e in record.entries if e.kind not in ("begun", "resumed", "interrupted")]
        assert [e.kind for e in entries] == [method for method, *_ in sequence]
        for entry, (method, *arguments) in zip(entries, sequence, strict=True):
            if method == "step_ended":
                assert StepOutcome.model_validate(entry.body.outcome) == arguments[0]
                stored = [t.counts for t in record.traces if t.sequence == entry.sequence]
                for read, written in zip(stored, arguments[1], strict=True):
                    assert_same_counts(read, written)
            elif method == "statement":
                assert entry.body == StatementFact.model_validate(arguments[0])
            elif method == "findings":
                assert_same_findings(entry.body, *arguments)
            else:
                written = {n: getattr(arguments[0], n) for n in arguments[0].__dataclass_fields__}
                assert entry.body.model_dump() == written
        ended = [s for s in record.steps if s.ended]
        assert len(ended) == sum(method == "step_ended" for method, *_ in sequence)
        assert store.resume(recorder.record_id).outcomes == tuple(
            arguments[0] for method, *arguments in sequence if method == "step_ended"
        )


def assert_same_findings(body: FindingsFact, verdicts_written, findings_written):
    for read, written in zip(body.verdicts, verdicts_written, strict=True):
        assert (read.channel, read.property, read.verdict) == (
            written.channel,
            written.property,
            written.verdict,
        )
        assert (read.low, read.high, read.unit, read.reason) == (
            written.low,
            written.high,
            written.unit,
            written.reason,
        )
        if written.measured is None:
            assert read.measured is None
        else:
            assert (read.measured.value, read.measured.u, read.measured.dof) == (
                written.measured.value,
                written.measured.u,
                written.measured.dof,
            )
    for read, written in zip(body.findings, findings_written, strict=True):
        for name in type(read).model_fields:
            assert getattr(read, name) == getattr(written, name)


@given(json_objects)
def test_the_canonical_text_does_not_depend_on_the_order_of_keys(value):
    assert canonical_json(value) == canonical_json(dict(reversed(value.items())))
    assert canonical_json(value).isascii()
