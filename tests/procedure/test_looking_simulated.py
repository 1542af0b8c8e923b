"""The passive look on the simulated box: what it leaves as it found it."""

import pytest

from loomproof.box.connect import connect
from loomproof.cli.prove.simulated_operator import SimulatedOperator
from loomproof.facts.kinds import LoadKind
from loomproof.procedure.session import Session
from loomproof_sim.named_boxes import find, forget
from loomproof_sim.scenario import builtin_job


def test_a_filament_is_seen_cold():
    """Its first pulse of all is the one that its cold resistance is read from; any before it would have warmed it."""
    name, job = "cold-look", builtin_job()
    box = connect(f"sim://?seed=0&clock=virtual&name={name}", auto_call_in=True)
    try:
        session = Session(job, box, SimulatedOperator(find(name).hands, job))
        session.open()
        session.run_step("look")
        loom = find(name).plant.loom
        lamps = [c.channel for c in job.channels if job.load_type(c.channel).kind is LoadKind.LAMP]
        assert lamps
        for channel in lamps:
            branch = loom.branch(channel)
            feed = sum(f.resistance_ohm for f in loom.feeds if f.id == branch.feed_id)
            due = branch.load.resistance_ohm + branch.wire_ohm + feed
            seen = session.evidence.of(channel)
            assert seen.resting_drain_v == pytest.approx(13.5, abs=0.3)
            assert seen.sense.resistance_ohm.value == pytest.approx(due, rel=0.02)
    finally:
        box.close()
        forget(name)
