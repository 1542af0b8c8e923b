"""The battery or its leads sag under load: seen behind every load."""

from __future__ import annotations

from collections.abc import Mapping

from loomproof.diagnose.expected.expectations import Expectations
from loomproof.diagnose.faults.definition import Advice, FaultDefinition, Hypothesis, Scope
from loomproof.diagnose.observed.features import Features
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.verdict import Property


def _amount(_: Hypothesis, features: Mapping[int, Features], _expected: Expectations) -> str:
    seen = [f.source_ohm for f in features.values() if f.source_ohm is not None]
    best = min(seen, key=lambda e: e.u, default=None)
    return f"{best.value:.2f} ohm in the battery and its leads" if best else ""


WEAK_SUPPLY = FaultDefinition(
    kind=FaultKind.WEAK_SUPPLY,
    scope=Scope.SUPPLY,
    prior=1e-2,
    name="weak supply",
    advice=Advice(
        likely="a discharged battery, thin leads or poor clips",
        remedy="charge the battery or use better leads, then measure again: every result leans on the supply",
        next_measurement="measure the voltage at the box while the largest load is driven",
    ),
    order=9,
    explains=frozenset({Property.FEED}),
    separated_by={
        FaultKind.FEED_WEAK: "measure the voltage at the box while one of the feed's loads is driven: if it sags there, "
        "it is the supply",
    },
    amount=_amount,
    supply_ohm=(0.6, 0.7),
)
