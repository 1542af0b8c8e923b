"""An earlier record of the same loom, with which a new one is compared."""

from __future__ import annotations

from pydantic import ValidationError

from loomproof.facts.evidence import Baseline
from loomproof.facts.signature import Signature
from loomproof.job.model import Job
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.records.errors import RecordError
from loomproof.records.models import StepEndedFact
from loomproof.records.record import Record
from loomproof.records.store import RecordStore


def baseline_of(record: Record, job: Job) -> Baseline:
    """Return the signatures of the channels that passed in a record and are still in the job.

    A channel counts as the same while its cavity and load type are. One that did not pass is no measure.

    Raises:
        RecordError: the record was altered, is of another loom, or no channel in it passed.
    """
    if not record.chain.holds:
        raise RecordError(
            f"Record {record.record_id} is no measure for this loom: {record.chain.text}",
            "Choose a record that was not altered.",
        )
    then, now = record.begun.identity.serial, job.identity.serial
    if then and now and then != now:
        raise RecordError(
            f"Record {record.record_id} is of the loom with serial {then}, and this one is {now}.",
            "Choose a record of the same loom.",
        )
    signatures = _passed(record, job)
    if not signatures:
        raise RecordError(
            f"In record {record.record_id} no channel of this job passed with a measured resistance.",
            "Choose a record of the same loom in which channels passed.",
        )
    when = record.entries[0].at.strftime("%Y-%m-%d")
    return Baseline(record.record_id, when, record.boxes[-1].serial_number, signatures)


def _passed(record: Record, job: Job) -> dict[int, Signature]:
    words = record.findings.channel_verdicts if record.findings else {}
    then = {fact.channel: (fact.cavity, fact.load_key) for fact in record.begun.channels}
    same = {c.channel for c in job.channels if c.fitted and then.get(c.channel) == (c.cavity, c.load)}
    found: dict[int, Signature] = {}
    for _, body in record.all(StepEndedFact):
        try:
            outcome = StepOutcome.model_validate(body.outcome)
        except ValidationError:
            continue  # of another version: its verdicts hold, but its numbers cannot be compared
        for item in outcome.evidence:
            wanted = item.channel in same and words.get(item.channel) == "pass"
            if wanted and item.signature is not None and item.signature.resistance_ohm is not None:
                found[item.channel] = item.signature
    return found


def find_baseline(store: RecordStore, job: Job, *, simulated: bool, but: str = "") -> Baseline | None:
    """Return the newest usable record of the loom with this job's serial number; None without serial or record.

    Args:
        store: the store to search.
        job: the job of the loom.
        simulated: whether the box is simulated; it is compared with records of its own kind only.
        but: a record that is being carried on, and so is not an earlier one.
    """
    serial = job.identity.serial
    if not serial:
        return None
    for line in store.list():
        if (
            line.record_id == but
            or line.simulated is not simulated
            or line.job_number != job.identity.job_number
        ):
            continue
        try:
            record = store.read(line.record_id)
            if record.begun.identity.serial == serial:
                return baseline_of(record, job)
        except RecordError:
            continue
    return None
