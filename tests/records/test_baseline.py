"""An earlier record of the same loom finds a joint that catalogue and sisters cannot."""

import re

import pytest
from typer.testing import CliRunner

from loomproof.cli.app import build_app
from loomproof.job.file.loading import load_job
from loomproof.records.baseline import baseline_of, find_baseline
from loomproof.records.errors import RecordError
from loomproof.records.store import RecordStore

EXAMPLE = "examples/inline-five-turbo.toml"
FAULT = "added_resistance:12:0.45"  # 6 % of a cam oil valve, one of a kind: within its tolerance


@pytest.fixture(scope="module")
def runs(tmp_path_factory, request):
    """A sound run, then one with the joint, of the loom with serial 7, in one store."""
    out = tmp_path_factory.mktemp("records")
    job = request.config.rootpath / EXAMPLE
    results = [
        CliRunner().invoke(
            build_app(),
            ["prove", str(job), "--box", f"sim://{query}", "--operator", "simulated", "--out", str(out),
             "--loom", "7", "--quiet"],
        )
        for query in ("?seed=4", f"?seed=4&fault={FAULT}")
    ]  # fmt: skip
    return out, job, results


def test_the_newest_record_of_the_serial_is_found_and_told(runs):
    out, _, (first, second) = runs
    assert first.exit_code == 0, first.output
    assert "Compared with record" not in first.output
    assert re.search(r"Compared with record \S+ of \d{4}-\d\d-\d\d", second.output)
    with RecordStore(out / "records.sqlite") as store:
        newest, oldest = (store.read(line.record_id) for line in store.list())
        notes = [event.text for _, event in newest.events if event.kind == "note"]
        assert any(oldest.record_id in text and "passed then" in text for text in notes)
        sources = {v.channel: v.limit_source for v in newest.findings.verdicts if v.property == "resistance"}
        assert "own earlier record" in sources[12]


def test_what_is_new_against_it_is_named_in_words(runs):
    _, _, (_, second) = runs
    text = " ".join(second.output.split())
    assert second.exit_code == 1
    assert re.search(
        r"Channel 12, cavity H\S+ \S+, .*added resistance, \+0\.4\d* ohm against its own earlier record", text
    )
    assert "likely crimp or pin" in text


def test_a_record_of_another_loom_is_refused(runs):
    out, job, _ = runs
    loaded = load_job(job)
    other = loaded.model_copy(update={"identity": loaded.identity.model_copy(update={"serial": "8"})})
    with RecordStore(out / "records.sqlite") as store:
        assert find_baseline(store, other, simulated=True) is None
        assert find_baseline(store, loaded, simulated=True) is None  # no serial, no guess
        with pytest.raises(RecordError, match="serial 7"):
            baseline_of(store.read("last"), other)


def test_a_real_box_is_not_compared_with_a_simulated_one(runs):
    out, job, _ = runs
    loaded = load_job(job)
    same = loaded.model_copy(update={"identity": loaded.identity.model_copy(update={"serial": "7"})})
    with RecordStore(out / "records.sqlite") as store:
        assert find_baseline(store, same, simulated=False) is None
        assert find_baseline(store, same, simulated=True) is not None
