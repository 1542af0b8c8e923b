"""Conformance of a box: does it keep what docs/protocol.md promises? For any board that speaks the protocol.

`run_suite(line, subjects)` runs the cases of `catalogue.CASES` and returns what each one found.
"""

from loomproof.boxcheck.asking import Tolerance
from loomproof.boxcheck.bench import Bench
from loomproof.boxcheck.case import Case, Failed, Need, NotShown
from loomproof.boxcheck.catalogue import CASES, NOT_FROM_OUTSIDE
from loomproof.boxcheck.hands import Act, Hands
from loomproof.boxcheck.line import Line, LineLostError, open_line
from loomproof.boxcheck.run import Outcome, Result, run_suite
from loomproof.boxcheck.subjects import Subject, Subjects, harmless_subjects

__all__ = [
    "CASES",
    "NOT_FROM_OUTSIDE",
    "Act",
    "Bench",
    "Case",
    "Failed",
    "Hands",
    "Line",
    "LineLostError",
    "Need",
    "NotShown",
    "Outcome",
    "Result",
    "Subject",
    "Subjects",
    "Tolerance",
    "harmless_subjects",
    "open_line",
    "run_suite",
]
