"""What the job states of one circuit: its resistances, what its suppression shows."""

from __future__ import annotations

from loomproof.facts.kinds import Suppression
from loomproof.facts.signature import OffShape
from loomproof.job.catalogue import LoadType
from loomproof.job.model import Job
from loomproof.job.quantity import Quantity

OFF_SHAPE_DUE = {
    Suppression.NONE: OffShape.CLAMP,
    Suppression.DIODE: OffShape.DIODE,
    Suppression.RESISTOR: OffShape.RESISTOR,
}


def direct_ohm(load: LoadType) -> Quantity | None:
    """Direct-current resistance at 20 degC of the load itself, its built-in resistor beside it included."""
    ohm = load.resistance_ohm
    if ohm is None or load.suppression is not Suppression.RESISTOR or load.suppression_ohm is None:
        return ohm
    beside = load.suppression_ohm.value
    return ohm.model_copy(update={"value": ohm.value * beside / (ohm.value + beside)})


def series_ohm(job: Job, channel: int) -> float:
    """Wire and feed in series with a channel's load, at 20 degC."""
    feed = job.feed_of(channel)
    return job.wire_ohm(channel) + (job.feed_ohm(feed.id) if feed is not None else 0.0)
