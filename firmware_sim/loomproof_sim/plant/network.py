"""A resistive network with sources, one-way elements and current ports, solved by nodal analysis.

Textbook modified nodal analysis with Norton sources. A one-way element (clamp, diode, gap) is a threshold
voltage behind a small resistance, either on or off. The solver flips the worst violated one until all agree.
"""

from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from loomproof_sim.plant.loads.base import Array

GROUND = -1
SMALLEST_OHM = 1e-7
LEAK_S = 1e-8
"""Every node leaks to ground through 100 megohm: a loom's insulation, which also defines floating nodes."""
_VOLT_SLACK = 1e-6
_AMP_SLACK = 1e-6
"""Well above rounding, so that an element without current is not found wrong both on and off."""


class OneWay(NamedTuple):
    """Conducts from `a` to `b` once their difference exceeds `threshold_v`."""

    a: int
    b: int
    threshold_v: float
    ohm: float


@dataclass
class Elements:
    """The elements of the network at one moment."""

    nodes: int
    conductances: list[tuple[int, int, float]] = field(default_factory=list)
    injections: list[tuple[int, float]] = field(default_factory=list)
    one_ways: list[OneWay] = field(default_factory=list)
    ports: list[tuple[int, int]] = field(default_factory=list)

    def resistor(self, a: int, b: int, ohm: float) -> None:
        """Add a resistor between two nodes."""
        self.conductances.append((a, b, 1.0 / max(ohm, SMALLEST_OHM)))

    def source(self, node: int, volt: float, ohm: float) -> None:
        """Add a voltage to ground behind a resistance."""
        ohm = max(ohm, SMALLEST_OHM)
        self.conductances.append((node, GROUND, 1.0 / ohm))
        self.injections.append((node, volt / ohm))


class Solved:
    """Node voltages as an affine function of the port currents: v = base + columns @ i.

    A port current leaves the network at the port's first node and comes back at its second.
    `open_v` and `impedance` give the ports themselves: v_port = open_v - impedance @ i.
    """

    def __init__(self, elements: Elements, on: frozenset[int]) -> None:
        n = elements.nodes
        y = np.zeros((n + 1, n + 1))
        j = np.zeros(n + 1)
        extra = [(w.a, w.b, 1.0 / w.ohm) for k, w in enumerate(elements.one_ways) if k in on]
        for a, b, g in (*elements.conductances, *extra):
            y[a, a] += g
            y[b, b] += g
            y[a, b] -= g
            y[b, a] -= g
        for node, amp in elements.injections:
            j[node] += amp
        for k in on:
            w = elements.one_ways[k]
            j[w.a] += w.threshold_v / w.ohm
            j[w.b] -= w.threshold_v / w.ohm
        inner = y[:n, :n] + LEAK_S * np.eye(n)
        ports = np.array(elements.ports, dtype=int).reshape(-1, 2)
        sides = np.zeros((n + 1, len(ports) + 1))
        sides[:, -1] = j
        rows = np.arange(len(ports))
        np.add.at(sides, (ports[:, 0], rows), -1.0)
        np.add.at(sides, (ports[:, 1], rows), 1.0)
        answer = np.linalg.solve(inner, sides[:n])
        full = np.vstack([answer, np.zeros((1, len(ports) + 1))])  # ground is row -1
        self.columns: Array = full[:, :-1]
        self.base: Array = full[:, -1]
        self.open_v: Array = self.base[ports[:, 0]] - self.base[ports[:, 1]]
        self.impedance: Array = self.columns[ports[:, 1]] - self.columns[ports[:, 0]]
        self.on = on
        self._one_way_rows(elements, on)

    def _one_way_rows(self, elements: Elements, on: frozenset[int]) -> None:
        ways = elements.one_ways
        a = np.array([w.a for w in ways], dtype=int)
        b = np.array([w.b for w in ways], dtype=int)
        over = np.array([w.threshold_v for w in ways])
        sign = np.array([1.0 / w.ohm if k in on else -1.0 for k, w in enumerate(ways)])
        self.margin_base: Array = sign * (self.base[a] - self.base[b] - over)
        self.margin_columns: Array = sign[:, None] * (self.columns[a] - self.columns[b])
        self.slack: Array = np.where(sign > 0, _AMP_SLACK, _VOLT_SLACK)


class Solver:
    """Solves networks and keeps the solutions."""

    def __init__(self, size: int = 512) -> None:
        self._kept: dict[Hashable, Solved] = {}
        self._size = size

    def solved(self, key: Hashable, elements: Callable[[], Elements], on: frozenset[int]) -> Solved:
        """Return the network that `key` describes, with the one-way elements `on` conducting."""
        full = (key, on)
        found = self._kept.get(full)
        if found is None:
            if len(self._kept) >= self._size:
                self._kept.pop(next(iter(self._kept)))
            found = self._kept[full] = Solved(elements(), on)
        return found

    def settle(
        self,
        key: Hashable,
        elements: Callable[[], Elements],
        on: frozenset[int],
        currents: Callable[[Solved], Array],
    ) -> Solved:
        """Flip one-way elements from the guess `on` until all agree with the port currents.

        Args:
            key: describes the network.
            elements: builds it when it is not kept.
            on: one-way elements that are taken to conduct at first.
            currents: gives the port currents behind a solved network.

        Raises:
            ArithmeticError: no state of the one-way elements is consistent.
        """
        for round_ in range(200):
            found = self.solved(key, elements, on)
            margins = found.margin_base + found.margin_columns @ currents(found)
            excess = margins / found.slack
            worst = int(np.argmin(excess)) if len(excess) else -1
            if worst < 0 or excess[worst] >= -1.0:
                return found
            if round_ > 60:  # cycling: take the lowest-numbered violated one (Bland's rule)
                worst = int(np.flatnonzero(excess < -1.0)[0])
            on = on ^ {worst}
        raise ArithmeticError("the diodes and clamps of this loom found no consistent state")
