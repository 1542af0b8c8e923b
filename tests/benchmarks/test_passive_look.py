"""The passive look moves nothing and sparks nothing, whatever of the catalogue hangs there."""

import pytest

from benchmarks.passive_look import corners, look, sense_us, worst
from loomproof.box.connect import connect
from loomproof.cli.prove.simulated_operator import SimulatedOperator
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.file.loading import load_job
from loomproof.job.load_traits import SENSE_ENERGY_J
from loomproof.procedure.session import Session
from loomproof.procedure.steps.look import LEAST_SENSE_US
from loomproof_sim.named_boxes import find, forget


@pytest.mark.parametrize("key", CATALOGUE)
def test_at_9_and_16_v_cold_and_hot_nothing_moves_and_no_winding_stores_over_0_1_mj(key):
    row = worst(CATALOGUE[key])
    assert not row.moved
    assert row.energy_j <= SENSE_ENERGY_J
    assert row.pull_in_share < 0.55
    assert row.pulse_us[0] >= LEAST_SENSE_US
    assert row.corners >= 8


@pytest.mark.parametrize("key", ["injector_high", "valve_purge"])
def test_a_longer_pulse_would_move_it(key):
    """The proof can fail: forty times the pulse moves the same part."""
    load = CATALOGUE[key]
    assert any(look(loom, 40 * sense_us(load, v)).moved for loom, v in corners(load, fine=False))


@pytest.mark.parametrize("key", ["coil_bare", "motor_fan"])
def test_a_longer_pulse_would_store_more(key):
    load = CATALOGUE[key]
    assert any(
        look(loom, 2 * sense_us(load, v)).energy_j > SENSE_ENERGY_J for loom, v in corners(load, fine=False)
    )


@pytest.mark.parametrize("longest_us", [0, 9])
def test_a_load_that_bears_no_sense_pulse_is_left_out_and_told(request, tmp_path, longest_us):
    text = (request.config.rootpath / "examples" / "boat-four-wasted-spark.toml").read_text(encoding="utf-8")
    path = tmp_path / "job.toml"
    limit = f"channel = 5\noverride = {{ limits = {{ max_sense_us = {longest_us} }} }}\n"
    path.write_text(text.replace("channel = 5\n", limit, 1), encoding="utf-8")
    job = load_job(path)
    box = connect(f"sim://{path}?seed=1&clock=virtual&name=left-out", auto_call_in=True)
    try:
        session = Session(job, box, SimulatedOperator(find("left-out").hands, job, "operator"))
        session.open()
        outcome = session.run_step("look")
    finally:
        box.close()
        forget("left-out")
    assert outcome.end == "done"
    assert "No sense pulse on channel 5 (" in outcome.note
    seen = {item.channel: item for item in outcome.evidence}
    assert seen[5].sense is None
    assert seen[5].sense_current_a is None
    assert seen[5].resting_drain_v is not None
    assert seen[1].sense is not None
    assert outcome.verdict == "pass"
    assert "proves no channel" in outcome.note
