"""From a trace to a signature with its uncertainty (pure)."""

from loomproof.measure.between import Between, between
from loomproof.measure.dropouts import Dropout, DropoutDesign, DropoutDetector, Watched
from loomproof.measure.filament import cold_filament
from loomproof.measure.loads import combine, measure, measure_one
from loomproof.measure.plan import PlanLimits, PulseLimits, plan_pulse
from loomproof.measure.presence import Cause, Change, PresenceDesign, PresenceDetector, ScanReading, State
from loomproof.measure.quantities import Estimate
from loomproof.measure.signature import Moved, OffShape, PulsePlan, Signature
from loomproof.measure.trace import Calibration, Trace, trace_from_counts

__all__ = [
    "Between",
    "Calibration",
    "Cause",
    "Change",
    "Dropout",
    "DropoutDesign",
    "DropoutDetector",
    "Estimate",
    "Moved",
    "OffShape",
    "PlanLimits",
    "PresenceDesign",
    "PresenceDetector",
    "PulseLimits",
    "PulsePlan",
    "ScanReading",
    "Signature",
    "State",
    "Trace",
    "Watched",
    "between",
    "cold_filament",
    "combine",
    "measure",
    "measure_one",
    "plan_pulse",
    "trace_from_counts",
]
