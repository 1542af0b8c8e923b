"""The durable record of a job and the reports made from it."""

from loomproof.records.baseline import baseline_of, find_baseline
from loomproof.records.errors import RecordError
from loomproof.records.integrity import Chain
from loomproof.records.reading import Entry, Record, StepRecord, StoredTrace
from loomproof.records.store import LAST, RecordStore, RecordSummary, Resumed
from loomproof.records.writer import RecordWriter

__all__ = [
    "LAST",
    "Chain",
    "Entry",
    "Record",
    "RecordError",
    "RecordStore",
    "RecordSummary",
    "RecordWriter",
    "Resumed",
    "StepRecord",
    "StoredTrace",
    "baseline_of",
    "find_baseline",
]
