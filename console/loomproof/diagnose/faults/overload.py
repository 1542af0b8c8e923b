"""Whether loads on a channel that was set up for another draw more than its limit."""

from __future__ import annotations

from loomproof.diagnose.expected.stated import direct_ohm
from loomproof.diagnose.faults.odds import Odds
from loomproof.diagnose.observed.features import Conduct
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import REFERENCE_V
from loomproof.job.model import Job


def conduct_of(job: Job, channel: int, *loads: LoadType) -> Odds:
    """What flows when a channel drives these loads together: its limit is that of the load which the job puts there."""
    most = sum(REFERENCE_V / ohm.value for load in loads if (ohm := direct_ohm(load)))
    if most > job.load_type(channel).limits.max_current_a:
        return {Conduct.EXCESS: 0.9, Conduct.FLOWS: 0.09, Conduct.NONE: 0.01}
    return {Conduct.FLOWS: 0.95, Conduct.EXCESS: 0.03, Conduct.NONE: 0.02}
