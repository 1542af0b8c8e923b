"""An earlier record of the same loom, as what a new one is compared with."""

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
    """What a record says of the channels that the job still has, and that passed.

    A channel counts as the same while cavity and load type are; one that did not pass is no measure of anything.

    Raises:
        RecordError: the record was altered, is of another loom, or nothing in it passed.
    """
    if not record.chain.holds:
        raise RecordError(
            f"Record {record.record_id} is no measure for this loom: {record.chain.text}",
            "Choose a record that is as it was written.",
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
            continue  # of another version: its verdicts stand, its numbers cannot be compared
        for item in outcome.evidence:
            wanted = item.channel in same and words.get(item.channel) == "pass"
            if wanted and item.signature is not None and item.signature.resistance_ohm is not None:
                found[item.channel] = item.signature
    return found


def find_baseline(store: RecordStore, job: Job, *, simulated: bool, but: str = "") -> Baseline | None:
    """The newest usable record of the loom with this job's serial number; None without a serial or a record.

    Args:
        store: where to look.
        job: whose loom.
        simulated: a simulated box is compared with simulated ones only, a real one with real ones.
        but: a record that is being carried on, which is no earlier one.
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
