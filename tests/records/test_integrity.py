"""The chain: any edit shows, and it says which; what it cannot show is said as well."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomproof.facts.record import EventKind, EventNoted
from loomproof.records.errors import RecordError
from loomproof.records.integrity import GENESIS, ChainEntry, check_chain, entry_digest
from loomproof.records.store import RecordStore


def edit(path, *statements):
    """Change the file behind the store's back, triggers and all."""
    raw = sqlite3.connect(path)
    for name in ("entry_no_update", "entry_no_delete", "trace_no_update", "trace_no_delete"):
        raw.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        raw.execute(statement)
    raw.commit()
    raw.close()


@pytest.fixture
def written(store, make):
    recorder = store.recorder()
    make.begin(recorder)
    recorder.step_began(make.step("drive-1"))
    recorder.step_ended(make.outcome("drive-1", verdict="fail"), [make.counts(seed=5)])
    recorder.event(EventNoted(EventKind.NOTE, "tea", 1.0))
    recorder.finish("fail")
    return recorder.record_id


EDITS = {
    "a verdict turned": ("UPDATE entry SET body=replace(body,'fail','pass') WHERE sequence=3", 3),
    "a time moved": ("UPDATE entry SET at_utc=replace(at_utc,'2031','2030') WHERE sequence=2", 2),
    "a kind changed": ("UPDATE entry SET kind='findings' WHERE sequence=4", 4),
    "an entry cut out": ("DELETE FROM entry WHERE sequence=4", 5),
    "the last entry cut off": ("DELETE FROM entry WHERE sequence=5", 5),
    "two entries exchanged": (
        "UPDATE entry SET sequence = CASE sequence WHEN 4 THEN 40 ELSE 4 END WHERE sequence IN (4,5)",
        4,
    ),
    "a trace cut out": ("DELETE FROM trace", 3),
    "a trace's counts changed": ("UPDATE trace SET counts=x'00'", 3),
    "a trace slipped in": ("INSERT INTO trace SELECT record_id, sequence, 7, counts FROM trace", 3),
}


@pytest.mark.parametrize("name", EDITS)
def test_every_edit_shows_and_says_where(store, store_path, written, name):
    assert store.read(written).chain.holds
    statement, sequence = EDITS[name]
    edit(store_path, statement)
    record = store.read(written)
    assert not record.chain.holds
    assert record.chain.first_bad_sequence == sequence
    assert "broken" in record.chain.text


def test_an_edited_record_is_read_but_not_carried_on(store, store_path, written):
    edit(store_path, "UPDATE entry SET body='{\"verdict\": 7' WHERE sequence=5")
    assert store.read(written).entries[4].body is None
    with pytest.raises(RecordError, match="is not carried on: The chain is broken"):
        store.resume(written)


def test_a_record_without_its_beginning_says_so(store, store_path, written):
    edit(store_path, "UPDATE entry SET body='{}' WHERE sequence=1")
    with pytest.raises(RecordError, match="lost its first entry"):
        store.read(written)


def test_the_digest_is_sha256_of_what_the_document_says(store, written):
    """The formula of docs/record.md, computed here with the standard library alone (SHA-256: FIPS 180-4)."""
    record = store.read(written)
    previous = "0" * 64
    for entry in record.entries:
        at = entry.at.isoformat(timespec="milliseconds")
        text = json.dumps(
            ["loomproof entry 1", written, entry.sequence, entry.kind, at, entry.text, previous]
        )
        assert hashlib.sha256(text.encode()).hexdigest() == entry.digest
        previous = entry.digest
    assert record.chain.head_digest == previous


def test_two_records_do_not_share_entries(store, store_path, make):
    """A whole chain copied under another record's id does not hold."""
    first, second = store.recorder(), store.recorder()
    make.begin(first)
    make.begin(second)
    edit(
        store_path,
        f"DELETE FROM entry WHERE record_id='{second.record_id}'",
        f"INSERT INTO entry SELECT '{second.record_id}', sequence, kind, at_utc, body, previous_digest, "
        f"digest FROM entry WHERE record_id='{first.record_id}'",
        f"UPDATE record SET head_digest=(SELECT head_digest FROM record WHERE record_id='{first.record_id}')",
    )
    with RecordStore(store_path) as again:
        assert again.read(first.record_id).chain.holds
        assert not again.read(second.record_id).chain.holds


texts = st.text(max_size=20)


@given(st.lists(st.tuples(texts, texts, texts), min_size=1, max_size=6), st.data())
def test_any_single_change_breaks_the_chain(rows, data):
    entries, previous = [], GENESIS
    for sequence, (kind, at, body) in enumerate(rows, 1):
        digest = entry_digest("r", sequence, kind=kind, at_utc=at, body=body, previous=previous)
        entries.append(ChainEntry(sequence, kind, at, body, previous, digest))
        previous = digest
    assert check_chain("r", entries, previous).holds
    index = data.draw(st.integers(0, len(entries) - 1))
    field = data.draw(st.sampled_from(["kind", "at_utc", "body", "previous_digest", "digest"]))
    old = entries[index]
    new = data.draw(texts.filter(lambda t: t != getattr(old, field)))
    changed = ChainEntry(**{**vars(old), field: new})
    broken = check_chain("r", [*entries[:index], changed, *entries[index + 1 :]], previous)
    assert not broken.holds
    assert not check_chain("other", entries, previous).holds


def test_one_count_changed_in_a_whole_trace_shows(store, store_path, written):
    """As long as before and well compressed: only its digest tells."""
    with sqlite3.connect(store_path) as raw:
        (blob,) = raw.execute("SELECT counts FROM trace").fetchone()
    raw.close()
    counts = bytearray(zlib.decompress(blob))
    counts[0] ^= 1
    edit(store_path, f"UPDATE trace SET counts=x'{zlib.compress(bytes(counts)).hex()}'")
    record = store.read(written)
    assert record.chain.first_bad_sequence == 3
    assert "trace 1 of entry 3 was changed after it was written" in record.chain.text
    assert record.traces[0].counts is None
