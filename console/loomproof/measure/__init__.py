"""From a trace to a signature with its uncertainty (pure)."""

from loomproof.measure.loads import combine, measure, measure_one
from loomproof.measure.plan import PlanLimits, PulseLimits, plan_pulse
from loomproof.measure.quantities import Estimate
from loomproof.measure.signature import Moved, OffShape, PulsePlan, Signature
from loomproof.measure.trace import Calibration, Trace, trace_from_counts

__all__ = [
    "Calibration",
    "Estimate",
    "Moved",
    "OffShape",
    "PlanLimits",
    "PulseLimits",
    "PulsePlan",
    "Signature",
    "Trace",
    "combine",
    "measure",
    "measure_one",
    "plan_pulse",
    "trace_from_counts",
]
