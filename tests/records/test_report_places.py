"""The report's map of places, the moves that mend the header, and the dropouts."""

import re

import pytest

from loomproof.box.connect import connect
from loomproof.cli.console.practice import sim_url
from loomproof.cli.prove.simulated_operator import SimulatedOperator
from loomproof.cli.prove.walkers import SimulatedWalker
from loomproof.job.file.loading import load_job
from loomproof.procedure.session import Session
from loomproof.procedure.wiggle.model import Said
from loomproof.records.report.page import html
from loomproof.records.store import RecordStore
from loomproof_sim.named_boxes import find, forget

JOB = """
schema_version = 1
setting = "bench"
[identity]
title = "Two valves"
job_number = "T-8"
[[connectors]]
id = "H1"
name = "header"
cavities = 8
[[locations]]
id = "tank"
name = "beside the tank"
[[locations]]
id = "wing"
name = "left wing"
[[channels]]
channel = 1
name = "purge valve"
cavity = "H1-1"
wire = "GN"
load = "valve_purge"
location = "tank"
[[channels]]
channel = 2
name = "boost valve"
cavity = "H1-2"
wire = "YE"
load = "valve_boost"
location = "wing"
"""


class Bender:
    """Bends the loom once and has enough after one slice."""

    def __init__(self, hands):
        self.hands = hands
        self.spans = 0
        self.bent = False

    def told(self, state, fresh):
        if state.watching is not None and not self.bent:
            self.bent = True
            self.hands.wiggle("wing", 4.0)  # its wire is channel 1's: the two are swapped
        self.spans = len(state.spans)

    def poll(self):
        if self.spans:
            return Said(enough=True)
        self.spans = 0
        return None


@pytest.fixture
def page(tmp_path):
    """A report after a walk over a swapped pair and a wiggle over a bad contact."""
    path = tmp_path / "two.toml"
    path.write_text(JOB)
    job = load_job(path)
    url = sim_url(path, 4, ("swapped:1:2", "intermittent:1")).replace(
        "name=demo", "name=places&clock=virtual"
    )
    box = connect(url, auto_call_in=True)
    store = RecordStore(tmp_path / "records.sqlite")
    try:
        hands = find("places").hands
        session = Session(job, box, SimulatedOperator(hands, job), store.recorder(), job_text=JOB)
        record = session.open()
        session.walk(SimulatedWalker(hands))
        wiggled = session.wiggle(Bender(hands), [1], held=False)
        session.close()
        yield re.sub(r"\s+", " ", html(store.read(record))), wiggled
    finally:
        box.close()
        forget("places")
        store.close()


def test_the_report_tells_places_moves_and_dropouts(page):
    text, wiggled = page
    assert "channel 1 expected, channel 2 found" in text
    assert "asked for, and pulled" in text
    assert "<li>2. Move the terminal (YE) from H1-2 to H1-1.</li>" in text
    assert len(wiggled.seen) > 0
    assert text.count("not marked") == len(wiggled.seen)
    longest = max(seen.length_us for seen in wiggled.seen)
    assert f"{longest / 1000:g} ms" in text
