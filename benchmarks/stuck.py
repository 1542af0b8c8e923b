"""How often a stuck armature is found, and a moving one called stuck: simulated mechanics, parameters drawn.

    python -m benchmarks.stuck [--loads 500] [--first 5000] [--law second]

Resistance, inductance, pull-in current and opening time are drawn from the catalogue's ranges, the stroke between a
fifth and twice the simulator's own, supply 10 to 15.5 V, winding -10 to 60 degC. Two answers count per load: of the
pulses that the console's own plan asks for, pooled as the console pools them.
"""

from __future__ import annotations

import argparse
import math
from collections import Counter
from dataclasses import replace
from typing import Literal

import numpy as np
from scipy.stats import binomtest

from loomproof.facts.kinds import Suppression
from loomproof.facts.signature import Signature
from loomproof.job.catalogue import CATALOGUE, LoadType
from loomproof.job.quantity import Quantity
from loomproof.measure.signature import measure
from loomproof_sim.loom import ARMATURES
from loomproof_sim.plant.plant import Plant
from loomproof_sim.plant.spec import (
    BranchSpec,
    DriverSpec,
    FeedSpec,
    InjectorSpec,
    LoomSpec,
    RelaySpec,
    SupplySpec,
    SuppressionSpec,
    ValveSpec,
)
from loomproof_sim.profiles import REFERENCE
from testbed.bareboard import BareBoard

KEYS = (
    "injector_high",
    "injector_low",
    "relay_plain",
    "relay_diode",
    "relay_resistor",
    "valve_purge",
    "valve_boost",
    "valve_idle",
    "valve_cam_oil",
)
Moving = InjectorSpec | RelaySpec | ValveSpec
WIRE_OHM = 0.15


def drawn(load: LoadType, rng: np.random.Generator, *, stuck: bool) -> Moving:
    """One load within the catalogue's ranges."""

    def within(quantity: Quantity) -> float:
        return float(rng.uniform(quantity.low, quantity.high))

    assert load.resistance_ohm is not None
    assert load.inductance_mh is not None
    base = ARMATURES[load.kind]()
    kind = {Suppression.DIODE: "diode", Suppression.RESISTOR: "resistor"}.get(load.suppression)
    beside = base.suppression
    if kind == "diode":
        beside = SuppressionSpec("diode")
    elif kind == "resistor" and load.suppression_ohm is not None:
        beside = SuppressionSpec("resistor", load.suppression_ohm.value)
    return replace(
        base,
        resistance_ohm=within(load.resistance_ohm),
        inductance_h=within(load.inductance_mh) * 1e-3,
        pull_in_a=within(load.pull_in_a) if load.pull_in_a else base.pull_in_a,
        opening_s=within(load.opening_ms) * 1e-3 if load.opening_ms else base.opening_s,
        stroke_gain=base.stroke_gain * math.exp(rng.uniform(math.log(0.2), math.log(2.0))),
        suppression=beside,
        stuck=stuck,
    )


def pulses(
    load: LoadType, spec: Moving, rng: np.random.Generator, law: Literal["first", "second"]
) -> tuple[Signature, bool]:
    """The pooled signature, and whether the armature really reached its stop in the last pulse."""
    supply_v = float(rng.uniform(10.0, 15.5))
    loom = LoomSpec(
        SupplySpec(supply_v, 0.03),
        (FeedSpec("f", 0.01),),
        (BranchSpec(1, spec, "f", WIRE_OHM),),
        {1: DriverSpec(on_ohm=0.1, clamp_v=REFERENCE.clamp_v)},
        temperature_c=float(rng.uniform(-10.0, 60.0)),
        law=law,
    )
    board = BareBoard(Plant(loom), REFERENCE, int(rng.integers(1 << 30)))
    traces = board.measuring_pulses(1, load, WIRE_OHM, supply_v)
    return measure(traces, load), board.plant.moved(1)


def interval(hits: int, total: int) -> str:
    """Share in percent with its Wilson interval."""
    ends = binomtest(hits, total).proportion_ci(method="wilson")
    return f"{hits}/{total} = {100 * hits / total:.2f} % ({100 * ends.low:.2f} to {100 * ends.high:.2f})"


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--loads", type=int, default=500, help="of each type, stuck and moving each")
    parser.add_argument("--first", type=int, default=5000, help="first seed")
    parser.add_argument(
        "--law", choices=("first", "second"), default="first", help="of the simulator's armatures"
    )
    given = parser.parse_args()
    print("load | really | yes | no | cannot tell | reasons why it cannot tell")
    whole: dict[str, Counter[tuple[bool, str]]] = {}
    for number, key in enumerate(KEYS):
        load = CATALOGUE[key]
        for stuck in (True, False):
            seen: Counter[str] = Counter()
            why: Counter[str] = Counter()
            for k in range(given.loads):
                rng = np.random.default_rng((given.first + k, number, stuck))
                try:
                    found, moved = pulses(load, drawn(load, rng, stuck=stuck), rng, given.law)
                except ValueError:  # no such mechanics: pull-in beyond what the winding takes, and the like
                    continue
                if moved is stuck:
                    continue  # it should have moved and did not get there: neither stuck nor sound
                seen[str(found.moved)] += 1
                if str(found.moved) == "cannot tell":
                    why.update(r.split(":")[1][:34] for r in found.refusals if r.startswith("motion:"))
            group = whole.setdefault(str(load.kind), Counter())
            group.update({(stuck, word): n for word, n in seen.items()})
            words = "; ".join(f"{n} {w.strip()}" for w, n in why.most_common(3))
            state = "stuck" if stuck else "moves"
            print(
                f"{key} | {state} | {seen['yes']} | {seen['no']} | {seen['cannot tell']} | {words}",
                flush=True,
            )
    for kind, group in whole.items():
        stuck_n = sum(n for (stuck, _), n in group.items() if stuck)
        moving_n = sum(n for (stuck, _), n in group.items() if not stuck)
        print(f"{kind}: stuck found {interval(group[True, 'no'], stuck_n)}")
        print(f"{kind}: moving called stuck {interval(group[False, 'no'], moving_n)}")
        print(f"{kind}: stuck called moving {interval(group[True, 'yes'], stuck_n)}")


if __name__ == "__main__":
    main()
