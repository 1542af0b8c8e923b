"""The current a sound load would have drawn under the voltage that was measured: a band for a trace."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from loomproof.facts.trace import Trace

Floats = NDArray[np.float64]


Interval = tuple[float, float]
_EVEN = 1e-9  # spread of the decay from one instant to the next by which instants count as evenly spaced


@dataclass(frozen=True)
class ExpectedBand:
    """Lowest and highest current of a sound load, inside the pulse only; all arrays have the same length.

    The armature's motion is not in it: a moving load dips below the band for a moment, and should.
    """

    time_s: Floats
    low_a: Floats
    high_a: Floats


def driven_current(drive_v: Floats, time_s: Floats, resistance_ohm: float, inductance_h: float) -> Floats:
    """Current of a resistor and an inductor in series, starting from nothing at time 0.

    The exact solution of v = iR + L di/dt for a voltage that stands still between instants.

    Args:
        drive_v: (n,) voltage across it, V; the first value also holds before the first instant.
        time_s: (n,) rising instants after switch-on, s.
        resistance_ohm: over 0.
        inductance_h: 0 or more.

    Returns:
        (n,) current in A.
    """
    if inductance_h == 0.0 or time_s.size < 2:
        rate = np.inf if inductance_h == 0.0 else resistance_ohm / inductance_h
        return (
            drive_v / resistance_ohm * -np.expm1(-rate * np.maximum(time_s, 0.0)) if time_s.size else drive_v
        )
    tau = inductance_h / resistance_ohm
    stay = np.exp(-np.diff(time_s) / tau)
    first = float(drive_v[0] / resistance_ohm * -np.expm1(-max(time_s[0], 0.0) / tau))
    push = np.concatenate(([first], drive_v[:-1] * (1.0 - stay) / resistance_ohm))
    if np.ptp(stay) < _EVEN:
        return np.asarray(signal.lfilter([1.0], [1.0, -float(stay[0])], push), dtype=np.float64)
    current = push.copy()
    for index, kept in enumerate(stay):  # samples are missing in between
        current[index + 1] += kept * current[index]
    return current


def expected_current(
    trace: Trace,
    resistance_ohm: Interval,
    inductance_h: Interval | None,
    *,
    steady_a: float | None = None,
    saturation_a: float | None = None,
    logic: bool = False,
) -> ExpectedBand:
    """Band of the current of a sound load during one pulse.

    More resistance or more inductance means less current at every instant, so the band's edges are the two
    corners of the intervals.

    Args:
        trace: what was measured; its supply and drain give the voltage across the load.
        resistance_ohm: everything between supply terminal and driver, lowest and highest.
        inductance_h: lowest and highest; None: the load has none to speak of.
        steady_a: lowest current once a lamp is hot or a motor runs, which is below what its resistance lets
        pass.
        logic: the pin itself drives the load to ground, not the supply through the load to the pin.
        saturation_a: where the core begins to saturate; the band ends there, because above it the current
        runs away.
    """
    on = trace.on
    across = trace.drain_v[on] if logic else trace.supply_v[on] - trace.drain_v[on]
    time, drive = trace.time_s[on], np.maximum(across, 0.0)
    low_h, high_h = inductance_h or (0.0, 0.0)
    high = driven_current(drive, time, resistance_ohm[0], low_h)
    low = driven_current(drive, time, resistance_ohm[1], high_h)
    if steady_a is not None:
        low = np.minimum(low, steady_a)
    if saturation_a is not None and np.any(high > saturation_a):
        end = int(np.argmax(high > saturation_a))
        time, low, high = time[:end], low[:end], high[:end]
    return ExpectedBand(time, low, high)
