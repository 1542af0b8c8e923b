"""A channel of which nothing is known, to start from."""

from loomproof.diagnose.observed.features import Conduct, Features, Rest
from loomproof.facts.evidence import Noticed
from loomproof.facts.signature import OffShape

BLANK = Features(
    channel=0,
    rest=Rest.UNKNOWN,
    conduct=Conduct.UNKNOWN,
    resistance=None,
    inductance=None,
    moved=None,
    off_shape=OffShape.CANNOT_TELL,
    noticed=Noticed.NOT_ASKED,
    pull=None,
    dropouts=0,
    watched=False,
    steady=None,
    inrush=None,
    source_ohm=None,
    unsteady=False,
)
