"""Reading a pin-out table (CSV or XLSX) into the draft of a job: rows in, draft and remarks out, no files touched."""

from loomproof.job.pinout.columns import Choices, Fact, Match, Matching
from loomproof.job.pinout.lines import LeftOut, Line, PinoutDraft, draft_pinout
from loomproof.job.pinout.reading import read_sheet
from loomproof.job.pinout.sheet import PinoutError, Remark, Sheet, Weight
from loomproof.job.pinout.writing import pinout_job_text

__all__ = [
    "Choices",
    "Fact",
    "LeftOut",
    "Line",
    "Match",
    "Matching",
    "PinoutDraft",
    "PinoutError",
    "Remark",
    "Sheet",
    "Weight",
    "draft_pinout",
    "pinout_job_text",
    "read_sheet",
]
