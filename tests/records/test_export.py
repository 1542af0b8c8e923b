"""The export: the chain can be checked, and the loom measured again, from the JSON alone."""

from __future__ import annotations

import hashlib
import json

import numpy as np

from loomproof.records.export import to_json


def test_the_export_stands_alone(store, make):
    recorder = store.recorder()
    make.begin(recorder)
    recorder.step_began(make.step())
    recorder.step_ended(make.outcome(measured={"note": "Ω"}), [make.counts(seed=3)])
    recorder.finish("pass")
    document = json.loads(to_json(store.read("last")))
    previous = "0" * 64
    for entry in document["entries"]:
        facts = [entry[name] for name in ("sequence", "kind", "at_utc", "text")]
        text = json.dumps(["loomproof entry 1", document["record_id"], *facts, previous])
        previous = hashlib.sha256(text.encode()).hexdigest()
        assert previous == entry["digest"]
    assert document["chain"]["head_digest"] == previous
    assert document["chain"]["holds"] is True
    (trace,) = document["traces"]
    table = np.array([trace["counts"][name] for name in ("fine", "wide", "supply", "drain")], dtype="<u2")
    assert hashlib.sha256(table.tobytes()).hexdigest() == trace["counts_sha256"]
    np.testing.assert_array_equal(table[1], make.counts(seed=3).wide)
    box = document["entries"][0]["body"]["box"]
    assert box["calibrations"]["1"]["fine_a_per_count"] == make.calibration()["fine_a_per_count"]
    assert json.loads(document["entries"][2]["text"])["outcome"]["measured"] == {"note": "Ω"}
