"""No interleaving of frames, time and hands breaks a rule on the simulated box. The long run: `make campaign`."""

from testbed.interleave.boxes import PythonBox
from testbed.interleave.player import Tally, search

STEPS = 3000


def test_no_interleaving_breaks_a_rule():
    tally = Tally()
    found = search(PythonBox(), seed=1, steps=STEPS, tally=tally)
    assert found is None, str(found)
    assert tally.accepted > STEPS / 8
    assert tally.energised > STEPS / 200, "hardly anything with a hazard was driven: the run proves nothing"
