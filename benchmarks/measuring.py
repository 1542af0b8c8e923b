"""How finely the estimators see, on traces made by an independent integration of the circuit.

    .venv/bin/python -m benchmarks.measuring

Prints the table of `docs/measuring.md`: uncertainty by load, then how often a landing is seen by stroke.
"""

from __future__ import annotations

import math
from collections import Counter

import numpy as np

from loomproof.facts.kinds import LoadKind
from loomproof.facts.signature import Signature
from loomproof.job.catalogue import CATALOGUE, LoadType
from loomproof.measure.pulse_plan import PulsePlan, plan_pulse
from loomproof.measure.signature import measure_one
from testbed.circuit import Circuit, make_trace, shape

PERIOD_S = 26e-6
PULSES = 100
WINDINGS = (
    "injector_high",
    "injector_low",
    "relay_plain",
    "valve_purge",
    "valve_cam_oil",
    "stepper_idle",
    "coil_bare",
)


def circuit_of(load: LoadType, stroke: float) -> Circuit:
    assert load.resistance_ohm is not None
    assert load.inductance_mh is not None
    opening_s = load.opening_ms.value * 1e-3 if load.opening_ms else 1.5e-3
    return Circuit(
        load_ohm=load.resistance_ohm.value,
        rest_h=load.inductance_mh.value * 1e-3,
        stroke_gain=stroke if load.moves else 0.0,
        travel_s=(0.4 * opening_s, opening_s),
        saturation_a=load.saturation_a.value if load.saturation_a else math.inf,
    )


def pulses(key: str, stroke: float, count: int) -> tuple[PulsePlan, Circuit, list[Signature]]:
    load = CATALOGUE[key]
    circuit = circuit_of(load, stroke)
    plan = plan_pulse(load, circuit.wire_ohm, circuit.emf_v, PERIOD_S)
    on_s, period_s = plan.on_time_us * 1e-6, PERIOD_S * plan.decimation
    span_s = plan.samples * period_s
    clean = shape(circuit, on_s, span_s, period_s)
    found = [
        measure_one(
            make_trace(circuit, on_s=on_s, span_s=span_s, period_s=period_s, seed=k, clean=clean), load
        )
        for k in range(count)
    ]
    return plan, circuit, found


def uncertainties() -> None:
    print("load | pulse ms | R ohm | bias % | spread % | stated random % | stated all % | spread of L %")
    for key in WINDINGS:
        stroke = 0.5 if CATALOGUE[key].kind is LoadKind.RELAY else 0.15
        plan, circuit, found = pulses(key, stroke, PULSES)
        true = circuit.load_ohm + circuit.wire_ohm
        seen = [s.resistance_ohm for s in found if s.resistance_ohm]
        ohms = np.array([estimate.value for estimate in seen])
        henries = np.array([s.inductance_h.value for s in found if s.inductance_h])
        random = np.mean([estimate.u_random for estimate in seen])
        every = np.mean([estimate.u for estimate in seen])
        cells = [ohms.mean() - true, ohms.std(ddof=1), random, every]
        shown = " | ".join(f"{100 * c / true:.3f}" for c in cells)
        print(
            f"{key} | {plan.on_time_us / 1e3:.1f} | {true:g} | {shown} | "
            f"{100 * henries.std(ddof=1) / henries.mean():.2f}"
        )


def landings() -> None:
    print("load | stroke % | yes | no | cannot tell")
    for key, strokes in (
        ("injector_high", (0.0, 0.01, 0.03, 0.05, 0.06, 0.08, 0.10, 0.15)),
        ("relay_plain", (0.0, 0.03, 0.05, 0.10, 0.15, 0.20, 0.50)),
        ("valve_purge", (0.0, 0.05, 0.08, 0.12, 0.25)),
    ):
        for stroke in strokes:
            _, _, found = pulses(key, stroke, 1000 if stroke == 0.0 else 200)
            seen = Counter(str(s.moved) for s in found)
            print(
                f"{key} | {100 * stroke:g} | {seen['yes']} | {seen['no']} | {seen['cannot tell']}", flush=True
            )


def main() -> None:
    uncertainties()
    landings()


if __name__ == "__main__":
    main()
