"""The run sheet on a bare box says of a loom what it says on the whole simulated box, wire and controller included."""

from benchmarks import fault_matrix as matrix
from loomproof.cli.prove.simulated_operator import SimulatedOperator
from loomproof.diagnose.explain.find import find
from loomproof.diagnose.rules.judge import judge
from loomproof.facts.step import StepEnd
from loomproof.facts.verdict import Verdict, channel_verdict
from loomproof.job.file.loading import load_job
from loomproof_sim.fault_text import parse_fault
from loomproof_sim.hands.local import SimHands, connector_map
from loomproof_sim.plant.plant import Plant
from loomproof_sim.scenario import Scenario, build_loom
from testbed.bareboard import BareBoard
from testbed.barebox import BareBox
from testbed.baresheet import BareSheet

JOB = "boat-four-wasted-spark"
FAULT = "swapped:1:2"
"""Only the pull checks show it: two loads of one kind."""


def test_a_bare_box_and_the_whole_box_see_the_same_loom():
    path = matrix.EXAMPLES / f"{JOB}.toml"
    job, scenario = load_job(path), Scenario(job=path, seed=1, faults=(FAULT,))
    board = BareBoard(Plant(build_loom(job, scenario), seed=1), scenario.board, 1)
    box = BareBox(job, board)
    hands = SimHands(box, board.plant, job, connector_map(job, [parse_fault(FAULT, job)]))
    sheet = BareSheet(job, box, SimulatedOperator(hands, job))
    evidence = sheet.evidence()
    assert {outcome.end for outcome in sheet.outcomes} == {StepEnd.DONE}
    verdicts = judge(job, evidence)
    words = {c.channel: channel_verdict(verdicts, c.channel) for c in job.channels if c.fitted}
    case = next(case for case in matrix.cases(JOB) if case.fault == FAULT)
    whole = matrix.run(case)
    said = tuple(f"{c}:{v}" for c, v in words.items() if c in case.channels or v is not Verdict.PASS)
    assert said == whole.verdicts
    bare = [(str(f.fault), f.channels) for f in find(job, evidence, verdicts)]
    assert bare == [("swapped", (1, 2))]
    assert [text.partition("(")[0] for text in whole.findings] == ["swapped@1,2"]
