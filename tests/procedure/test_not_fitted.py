"""A load in a cavity that the job calls empty: it is never driven, and the look says that it is there."""

from pathlib import Path

import pytest

from loomproof.box.connect import connect
from loomproof.cli.prove.simulated_operator import SimulatedOperator
from loomproof.diagnose.rules.judge import judge
from loomproof.facts.evidence import ChannelEvidence, LoomEvidence
from loomproof.facts.verdict import Verdict
from loomproof.job.file.loading import dump_job, load_job
from loomproof.procedure.session import Session
from loomproof_sim.named_boxes import find, forget

BENCH = Path(__file__).parents[2] / "examples" / "bench-relays-lamps-stepper.toml"
EMPTY = 14


@pytest.mark.parametrize(("pin_v", "remarked"), [(13.4, True), (0.05, True), (2.5, False), (None, False)])
def test_the_verdict_says_that_something_hangs_there(pin_v, remarked):
    job = load_job(BENCH)
    seen = LoomEvidence({EMPTY: ChannelEvidence(EMPTY, resting_drain_v=pin_v)}, supply_rest_v=13.5)
    (verdict,) = [v for v in judge(job, seen) if v.channel == EMPTY]
    assert verdict.verdict is Verdict.NOT_FITTED
    assert ("something hangs there" in verdict.reason) is remarked


@pytest.mark.parametrize("there", [True, False])
def test_the_look_says_so_and_gives_it_no_pulse(tmp_path, there):
    job, name = load_job(BENCH), f"not-fitted-{there}"
    real = tuple(
        c.model_copy(update={"fitted": there, "location": None}) if c.channel == EMPTY else c
        for c in job.channels
    )
    path = tmp_path / "real.toml"
    path.write_text(dump_job(job.model_copy(update={"channels": real})), encoding="utf-8")
    box = connect(f"sim://{path}?seed=1&clock=virtual&name={name}", auto_call_in=True)
    try:
        session = Session(job, box, SimulatedOperator(find(name).hands, job))
        session.open()
        outcome = session.run_step("look")
        said = [text for text in outcome.problems if "nothing is fitted there" in text]
        assert bool(said) is there
        assert all("cavity H1-5" in text for text in said)
        seen = session.evidence.of(EMPTY)
        assert seen.resting_drain_v == pytest.approx(13.5 if there else 2.5, abs=0.2)
        assert seen.sense is None
        assert seen.sense_current_a is None
    finally:
        box.close()
        forget(name)
