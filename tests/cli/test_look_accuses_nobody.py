"""After the passive look alone, no channel of a sound loom is accused of anything."""

from pathlib import Path

import pytest

from loomproof.box.connect import connect
from loomproof.cli.prove.simulated_operator import SimulatedOperator
from loomproof.facts.verdict import Verdict
from loomproof.job.file.loading import load_job
from loomproof.procedure.session import Session
from loomproof_sim.named_boxes import find, forget

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.toml"))


@pytest.mark.parametrize("seed", [1, 5])
@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_a_look_at_a_sound_loom_fails_no_channel(path: Path, seed: int) -> None:
    job = load_job(path)
    box = connect(f"sim://{path}?seed={seed}&clock=virtual&name=looked", auto_call_in=True)
    try:
        session = Session(job, box, SimulatedOperator(find("looked").hands, job, "operator"))
        session.open()
        if session.stopped is not None:
            session.clear_stop()
        step = session.next_step()
        assert step is not None
        assert step.kind.value == "passive look"
        session.run_step(step.id)
        assert session.verdicts(), "a look that judges nothing proves nothing"
        assert [v for v in session.verdicts() if v.verdict is Verdict.FAIL] == []
        assert session.findings() == ()
    finally:
        box.close()
        forget("looked")
