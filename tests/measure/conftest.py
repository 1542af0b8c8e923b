"""The independent trace maker, as a fixture."""

from dataclasses import dataclass, replace

import pytest

from loomproof.facts.trace import Calibration, Trace
from testbed.circuit import CALIBRATION, Circuit, make_trace, shape


@dataclass(frozen=True)
class Maker:
    """What tests get: the circuit's class, the shape and the trace."""

    circuit: type[Circuit] = Circuit
    calibration: Calibration = CALIBRATION

    def shape(self, c: Circuit, on_s: float, span_s: float, period_s: float = 26e-6):
        return shape(c, on_s, span_s, period_s)

    def trace(self, c: Circuit, **keywords) -> Trace:
        return make_trace(c, **keywords)

    def with_(self, c: Circuit, **changes) -> Circuit:
        return replace(c, **changes)


@pytest.fixture(scope="session")
def maker() -> Maker:
    return Maker()
