"""The store: what goes in comes out, nothing is overwritten, and what is not ours is left alone."""

from __future__ import annotations

import sqlite3
import threading
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.dialects import postgresql
from sqlalchemy.schema import CreateTable

from loomproof.facts.record import EventKind, EventNoted
from loomproof.procedure.recorder import Recorder
from loomproof.records.database import ENVIRONMENT_VARIABLE, reading, store_url
from loomproof.records.errors import RecordError
from loomproof.records.models import BegunFact, FindingsFact, FinishedFact, StatementFact
from loomproof.records.schema import SCHEMA_VERSION, Base
from loomproof.records.store import RecordStore


def fill(store, make, *, finish=True):
    recorder = store.recorder()
    make.begin(recorder)
    recorder.statement(make.statement())
    recorder.step_began(make.step("drive-1"))
    recorder.event(EventNoted(EventKind.TRIP, "Channel 1 tripped at 9 A.", 1.5, 1, {"current_ma": 9000}))
    recorder.step_ended(
        make.outcome("drive-1", measured={"resistance_ohm": {"value": 14.2, "u": 0.1}}),
        [make.counts(1, seed=1), make.counts(1, seed=2)],
    )
    recorder.findings(make.verdicts(), [make.finding()])
    if finish:
        recorder.finish("fail", "one open wire")
    return recorder


def test_a_writer_is_a_recorder(store):
    assert isinstance(store.recorder(), Recorder)


def test_everything_written_is_read_back_in_order(store, make):
    recorder = fill(store, make)
    record = store.read(recorder.record_id)
    kinds = [entry.kind for entry in record.entries]
    assert kinds == ["begun", "statement", "step_began", "event", "step_ended", "findings", "finished"]
    assert [e.sequence for e in record.entries] == [1, 2, 3, 4, 5, 6, 7]
    assert record.begun.job_text == make.job_text
    assert record.begun.identity.job_number == "B-204"
    assert record.begun.box.calibrations[3] == make.calibration()
    assert record.statements[0][1].facts == ("pump unplugged", "rail at 0 bar")
    assert record.statements[0][1].valid_for_s == 900.0
    assert record.events[0][1].facts == {"current_ma": 9000}
    assert record.findings.channel_verdicts == {1: "pass", 2: "fail", 3: "not tested"}
    assert record.findings.verdicts[1].measured.u == 0.06
    assert record.findings.findings[0].fault == "open"
    assert record.finished == FinishedFact(verdict="fail", note="one open wire")
    assert record.chain.holds
    assert record.chain.head_digest == record.entries[-1].digest


def test_raw_counts_come_back_bit_for_bit(store, make):
    recorder = fill(store, make)
    traces = store.read(recorder.record_id).steps[0].traces
    for stored, written in zip(traces, (make.counts(1, seed=1), make.counts(1, seed=2)), strict=True):
        for name in ("fine", "wide", "supply", "drain"):
            np.testing.assert_array_equal(getattr(stored.counts, name), getattr(written, name))
        assert stored.counts.first_sample_ns == written.first_sample_ns


def test_channel_facts_stand_without_the_job_file(store, make):
    recorder = fill(store, make)
    job = make.job()
    for fact in store.read(recorder.record_id).begun.channels:
        load = job.load_type(fact.channel)
        assert fact.location == f"place {fact.channel}"
        assert fact.wire_ohm == pytest.approx(job.wire_ohm(fact.channel))
        assert (fact.resistance_ohm is None) == (load.resistance_ohm is None)
        if load.inductance_mh:
            assert fact.inductance_h.nominal == pytest.approx(load.inductance_mh.value / 1000)


def test_the_list_shows_the_latest_first_and_open_records_without_verdict(store, make):
    first = fill(store, make).record_id
    second = fill(store, make, finish=False).record_id
    listed = store.list()
    assert [s.record_id for s in listed] == [second, first]
    assert [s.verdict for s in listed] == ["", "fail"]
    assert [s.entries for s in listed] == [6, 7]


def test_a_record_is_found_by_prefix_or_as_the_last(store, make):
    first, second = fill(store, make).record_id, fill(store, make).record_id
    assert store.read(first[:-1]).record_id == first
    assert store.read("last").record_id == second
    with pytest.raises(RecordError, match="Several records begin with '2031'"):
        store.read("2031")
    with pytest.raises(RecordError, match="no record '%'"):
        store.read("%")


def test_nothing_is_written_before_begin_and_begin_only_once(store, make):
    recorder = store.recorder()
    with pytest.raises(RecordError, match="not begun"):
        recorder.step_began(make.step())
    make.begin(recorder)
    with pytest.raises(RecordError, match="begun already"):
        make.begin(recorder)
    assert len(store.read("last").entries) == 1


def test_resuming_gives_back_the_outcomes_and_marks_what_was_lost(store_path, store, make):
    recorder = fill(store, make, finish=False)
    recorder.step_began(make.step("drive-2", 1, 2))
    with RecordStore(store_path) as later:
        resumed = later.resume(recorder.record_id)
        assert resumed.outcomes == (
            make.outcome("drive-1", measured={"resistance_ohm": {"value": 14.2, "u": 0.1}}),
        )
        assert [(s.step_id, s.attempt) for s in resumed.interrupted] == [("drive-2", 1)]
        assert resumed.statements == (make.statement(),)
        assert len(later.read("last").entries) == 7  # nothing written yet
        assert make.begin(resumed.recorder) == recorder.record_id
        resumed.recorder.step_began(make.step("drive-2", 1, 2))
        resumed.recorder.step_ended(make.outcome("drive-2", 1, "fail"))
        resumed.recorder.finish("fail")
        record = later.read("last")
    assert [(s.step_id, s.attempt, s.state) for s in record.steps] == [
        ("drive-1", 1, "ended"),
        ("drive-2", 1, "interrupted"),
        ("drive-2", 1, "ended"),
    ]
    assert record.chain.holds
    assert record.finished.verdict == "fail"


def test_a_finished_record_carried_on_is_open_again(store, make):
    recorder = fill(store, make)
    resumed = store.resume(recorder.record_id)
    make.begin(resumed.recorder, box=make.box(simulated=True))
    record = store.read(recorder.record_id)
    assert record.finished is None
    assert record.simulated
    assert (store.list()[0].verdict, store.list()[0].simulated) == ("", True)


def test_another_job_does_not_carry_a_record_on(store, make):
    recorder = fill(store, make)
    resumed = store.resume(recorder.record_id)
    with pytest.raises(RecordError, match="another job file"):
        make.begin(resumed.recorder, digest="e" * 64)
    assert len(store.read("last").entries) == 7


def test_two_programs_cannot_write_one_record(store_path, store, make):
    recorder = fill(store, make, finish=False)
    with RecordStore(store_path) as other:
        second = other.resume(recorder.record_id).recorder
        make.begin(second)
        with pytest.raises(RecordError, match="Another program is writing"):
            recorder.step_began(make.step("drive-3"))
        second.finish("fail")
        assert other.read("last").chain.holds


def test_a_record_that_could_not_be_carried_on_takes_nothing_without_its_beginning(store, make):
    recorder = fill(store, make, finish=False)
    late = store.resume(recorder.record_id).recorder
    recorder.finish("fail")
    with pytest.raises(RecordError, match="Another program is writing"):
        make.begin(late)
    assert late.record_id == ""
    with pytest.raises(RecordError, match="not begun"):
        late.step_began(make.step("drive-3"))


def test_several_threads_may_record_at_once(store, make):
    recorder = store.recorder()
    make.begin(recorder)
    threads = [
        threading.Thread(
            target=lambda n=n: [
                recorder.event(EventNoted(EventKind.NOTE, f"{n}.{i}", float(i))) for i in range(20)
            ]
        )
        for n in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    record = store.read("last")
    assert record.chain.holds
    assert {body.text for _, body in record.events} == {f"{n}.{i}" for n in range(4) for i in range(20)}


def test_two_benches_write_their_own_records_into_one_store(store_path, store, make):
    """A writer takes the lock at once and waits for the other; neither ever sees a locked database."""
    failures = []

    def work(opened):
        try:
            recorder = opened.recorder()
            make.begin(recorder)
            for number in range(25):
                recorder.event(EventNoted(EventKind.NOTE, str(number), 0.0))
        except RecordError as error:
            failures.append(str(error))

    with RecordStore(store_path) as first, RecordStore(store_path) as second:
        threads = [threading.Thread(target=work, args=(opened,)) for opened in (first, second)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert failures == []
    assert [summary.entries for summary in store.list()] == [26, 26]


def test_a_failed_write_leaves_the_record_as_it_was_and_the_recorder_usable(store, make):
    recorder = fill(store, make, finish=False)
    bad = make.counts()
    object.__setattr__(bad, "wide", bad.wide[:-1])
    with pytest.raises(RecordError, match="differ in length"):
        recorder.step_ended(make.outcome("drive-2"), [bad])
    with pytest.raises(ValueError, match="verdict"):
        recorder.finish("splendid")
    with pytest.raises(TypeError, match="cannot be kept"):
        recorder.event(EventNoted(EventKind.NOTE, "x", 0.0, facts={"raw": b"1"}))
    recorder.finish("fail")
    assert [e.kind for e in store.read("last").entries][-2:] == ["findings", "finished"]


@pytest.mark.parametrize(
    "statement", ["UPDATE entry SET body='{}'", "DELETE FROM entry", "DELETE FROM trace"]
)
def test_the_database_itself_refuses_to_change_what_was_written(store_path, store, make, statement):
    fill(store, make)
    with sqlite3.connect(store_path) as raw, pytest.raises(sqlite3.IntegrityError, match="only ever added"):
        raw.execute(statement)


def test_writes_wait_for_the_disk(store, store_path, make):
    fill(store, make)
    with reading(store._engine) as session:
        assert session.execute(text("PRAGMA synchronous")).scalar() == 2  # FULL
        assert session.execute(text("PRAGMA journal_mode")).scalar() == "wal"
        assert session.execute(text("PRAGMA foreign_keys")).scalar() == 1


def test_a_newer_store_is_left_alone(store_path, store, make):
    fill(store, make)
    store.close()
    with sqlite3.connect(store_path) as raw:
        raw.execute("UPDATE loomproof_store SET value=?", (str(SCHEMA_VERSION + 1),))
    raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    raw.close()
    before = store_path.read_bytes()
    with pytest.raises(RecordError, match=r"newer Loomproof \(store version 2; this program knows 1\)"):
        RecordStore(store_path)
    assert store_path.read_bytes() == before


@pytest.mark.parametrize("content", [b"this is a letter, not a database" * 40, None])
def test_what_is_not_a_store_is_left_alone(tmp_path, content):
    path = tmp_path / "other.sqlite3"
    if content is None:
        with sqlite3.connect(path) as raw:
            raw.execute("CREATE TABLE shopping (item TEXT)")
        raw.close()
    else:
        path.write_bytes(content)
    before = path.read_bytes()
    with pytest.raises(RecordError) as caught:
        RecordStore(path)
    assert str(path) in caught.value.reason
    assert "--store" in caught.value.remedy
    assert path.read_bytes() == before


def test_reading_never_makes_a_store(tmp_path):
    path = tmp_path / "none" / "records.sqlite3"
    with pytest.raises(RecordError, match="no record store at"):
        RecordStore(path, create=False)
    assert not path.parent.exists()


@pytest.mark.parametrize(
    ("url", "reason"),
    [
        ("nonsense://x", "not an address of a record store"),
        ("sqlite://", "in memory"),
        ("sqlite:////proc/none/records.sqlite3", "cannot be opened"),
    ],
)
def test_bad_addresses_are_told_apart(url, reason):
    with pytest.raises(RecordError, match=reason) as caught:
        RecordStore(url)
    assert caught.value.remedy


def test_where_the_store_is(monkeypatch, tmp_path):
    monkeypatch.setenv(ENVIRONMENT_VARIABLE, str(tmp_path / "bench.sqlite3"))
    assert store_url(None) == f"sqlite:///{tmp_path}/bench.sqlite3"
    assert store_url("postgresql://bench@server/looms") == "postgresql://bench@server/looms"
    assert store_url("here.sqlite3") == f"sqlite:///{Path.cwd()}/here.sqlite3"
    monkeypatch.delenv(ENVIRONMENT_VARIABLE)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert store_url(None) == f"sqlite:///{tmp_path}/loomproof/records.sqlite3"


def test_a_password_is_not_shown(tmp_path):
    with pytest.raises(RecordError) as caught:
        RecordStore(f"sqlite://user:secret@/{tmp_path}/no/such")
    assert "secret" not in str(caught.value)


def test_the_tables_compile_for_postgresql():
    for table in Base.metadata.sorted_tables:
        ddl = str(CreateTable(table).compile(dialect=postgresql.dialect()))
        assert f"CREATE TABLE {table.name}" in ddl
    assert "BYTEA" in str(CreateTable(Base.metadata.tables["trace"]).compile(dialect=postgresql.dialect()))


def test_kept_schema_is_the_first_version(store, store_path):
    engine = create_engine(f"sqlite:///{store_path}")
    with engine.connect() as connection:
        value = connection.execute(
            text("SELECT value FROM loomproof_store WHERE name='schema_version'")
        ).scalar()
    engine.dispose()
    assert value == "1"


def test_bodies_survive_unknown_fields_of_a_later_minor():
    """A body with more in it than we know is read, not refused."""
    later = {"verdict": "pass", "note": "", "signed_by": "someone"}
    assert FinishedFact.model_validate(later).verdict == "pass"
    assert {BegunFact.KIND, FindingsFact.KIND, StatementFact.KIND} == {"begun", "findings", "statement"}
