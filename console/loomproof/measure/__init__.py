"""From a trace to a signature with its uncertainty (pure)."""

from loomproof.measure.quantities import Estimate
from loomproof.measure.signature import Moved, OffShape, PulsePlan, Signature
from loomproof.measure.trace import Calibration, Trace, trace_from_counts

__all__ = [
    "Calibration",
    "Estimate",
    "Moved",
    "OffShape",
    "PulsePlan",
    "Signature",
    "Trace",
    "trace_from_counts",
]
