"""Turns a loom and the state of its drivers at one moment into the network to be solved."""

from dataclasses import dataclass
from typing import Literal

from loomproof_sim.plant.loads.armature import Armature
from loomproof_sim.plant.loads.base import Array, Load
from loomproof_sim.plant.loads.coil import Coil
from loomproof_sim.plant.loads.lamp import Lamp
from loomproof_sim.plant.loads.logic import LogicInput
from loomproof_sim.plant.loads.motor import Motor
from loomproof_sim.plant.loads.second_law import second_law
from loomproof_sim.plant.loads.winding import Winding
from loomproof_sim.plant.materials import copper_factor
from loomproof_sim.plant.network import GROUND, SMALLEST_OHM, Elements, OneWay, Solved
from loomproof_sim.plant.spec import (
    BranchSpec,
    CoilSpec,
    Drive,
    DriverSpec,
    IgniterSpec,
    LampSpec,
    LoadSpec,
    LogicInputSpec,
    LoomSpec,
    MotorSpec,
    MovingSpec,
    SuppressionSpec,
    WindingSpec,
    WoundSpec,
)

GAP_V = 327.0
"""A contact that opens under current sparks over at the Paschen minimum of air (textbook value)."""
OFF_BLEED_OHM = 470.0
"""The box's own consumption, through which a disconnected supply node discharges."""
_CLAMP_OHM = 1e-3
_DIODE_V, _DIODE_OHM = 0.7, 0.01
_PER_CHANNEL = 5
"""Number of one-way elements of each channel: three of its driver, two of its wire."""
IGNITER_OFFSET = 10_000
"""Port key of the primary inside an igniter coil: its channel plus this."""


@dataclass(frozen=True, slots=True)
class Moment:
    """What the network depends on, apart from the port currents."""

    drives: tuple[tuple[int, Drive], ...]
    broken: frozenset[int]
    """Channels whose contact is open now (pulled, or broken while wiggled)."""
    emf_v: float
    supply_on: bool
    firing: frozenset[int]
    """Channels whose igniter conducts."""
    active: frozenset[int]
    """Ports whose current is a state variable, not that of a resistance."""


def build_load(spec: LoadSpec, temperature_c: float, law: Literal["first", "second"] = "first") -> Load:
    """Return the model of one load at a temperature, by the first or the second law of armatures and coils."""
    if isinstance(spec, LampSpec):
        return Lamp(spec, temperature_c + 273.15)
    if isinstance(spec, LogicInputSpec):
        return LogicInput(spec.input_ohm)
    if isinstance(spec, IgniterSpec):
        return LogicInput(spec.input_ohm)
    ohm = spec.resistance_ohm * copper_factor(temperature_c, spec.temperature_coefficient_per_k)
    if law == "second" and isinstance(spec, MovingSpec | CoilSpec):
        other = second_law(spec, ohm)
        if other is not None:
            return other
    if isinstance(spec, CoilSpec):
        if spec.shorted_fraction:  # the ring's counter-flux keeps the core far from saturation
            return Winding(ohm, spec.inductance_h, spec.shorted_fraction, None)
        return Coil(ohm, spec.inductance_h, spec.saturation_a, spec.saturated_share)
    if isinstance(spec, MotorSpec):
        return Motor(spec, ohm)
    if isinstance(spec, WindingSpec):
        return Winding(ohm, spec.inductance_h, spec.shorted_fraction, spec.step_current_a)
    return Armature(spec, ohm)


def far_end(branch: BranchSpec, driver: DriverSpec) -> Literal["feed", "ground"]:
    """Return where the load's other end goes."""
    if branch.far_end != "auto":
        return branch.far_end
    if isinstance(branch.load, IgniterSpec | LogicInputSpec) or driver.kind in ("high_side", "half_bridge"):
        return "ground"
    return "feed"


class Circuit:
    """The nodes and elements of one loom."""

    def __init__(self, loom: LoomSpec) -> None:
        self.loom = loom
        self.copper = copper_factor(loom.temperature_c)
        self.branches: dict[int, BranchSpec] = {b.channel: b for b in loom.branches}
        self.drivers: dict[int, DriverSpec] = {c: loom.driver(c) for c in self.branches}
        names: list[object] = ["supply", *(("feed", f.id) for f in loom.feeds)]
        names += [("ground", g.id) for g in loom.grounds]
        for c in self.branches:
            names += [("pin", c), ("end", c), ("inner", c)]
        self.node = {name: k for k, name in enumerate(names)}
        self.loads: dict[int, Load] = {}
        self.specs: dict[int, LoadSpec] = {}
        self._ports: dict[int, tuple[int, int]] = {}
        for branch in loom.branches:
            self._fit(branch)
        self._order = sorted(self.branches)
        self.keys = tuple(self.loads)
        self.index = {key: k for k, key in enumerate(self.keys)}

    # -- what is fitted ------------------------------------------------------------------------

    def feed_node(self, branch: BranchSpec) -> int:
        """Return the node of the load's fed end."""
        if branch.feed_id is None:
            return self.node["supply"]
        name = ("feed", branch.feed_id)
        if name not in self.node:
            raise ValueError(f"channel {branch.channel} is on feed {branch.feed_id!r}, which the loom lacks")
        return self.node[name]

    def _ground_node(self, branch: BranchSpec) -> int:
        """Return the node of an input's grounded end."""
        return GROUND if branch.ground_id is None else self.node[("ground", branch.ground_id)]

    def _owns_load(self, branch: BranchSpec) -> bool:
        """Return whether a branch carries its load: of a half-bridge pair the lower channel, if it has one."""
        other = self.branches.get(branch.partner) if branch.partner is not None else None
        return branch.load is not None and (
            other is None or other.load is None or branch.channel < other.channel
        )

    def _fit(self, branch: BranchSpec) -> None:
        if branch.load is None or not self._owns_load(branch):
            return
        c, end = branch.channel, self.node[("end", branch.channel)]
        self.loads[c] = build_load(branch.load, self.loom.temperature_c, self.loom.law)
        self.specs[c] = branch.load
        if branch.partner is not None and branch.partner in self.branches:
            self._ports[c] = (end, self.node[("end", branch.partner)])
        elif far_end(branch, self.drivers[c]) == "ground":
            self._ports[c] = (end, self._ground_node(branch))
        else:
            self._ports[c] = (self.feed_node(branch), end)
        if isinstance(branch.load, IgniterSpec):
            key = c + IGNITER_OFFSET
            self.loads[key] = build_load(branch.load.coil, self.loom.temperature_c, self.loom.law)
            self.specs[key] = branch.load.coil
            self._ports[key] = (self.feed_node(branch), self.node[("inner", c)])

    def port(self, key: int) -> tuple[int, int]:
        """Return the first and second node of a load."""
        return self._ports[key]

    # -- elements ------------------------------------------------------------------------------

    def elements(self, moment: Moment) -> Elements:
        """Return the network at one moment."""
        e = Elements(len(self.node), ports=[self._ports[k] for k in self.keys])
        supply = self.node["supply"]
        if moment.supply_on:
            e.source(supply, moment.emf_v, self.loom.supply.internal_ohm)
        else:
            e.resistor(supply, GROUND, OFF_BLEED_OHM)
        e.one_ways.append(OneWay(GROUND, supply, _DIODE_V, _DIODE_OHM))
        for feed in self.loom.feeds:
            if not feed.open:
                e.resistor(supply, self.node[("feed", feed.id)], feed.resistance_ohm)
        for ground in self.loom.grounds:
            if not ground.open:
                e.resistor(self.node[("ground", ground.id)], GROUND, ground.resistance_ohm)
        for c, drive in moment.drives:
            self._add_driver(e, c, drive)
            self._add_wire(e, self.branches[c], c in moment.broken)
        for key in self.keys:
            self._add_load(e, key, moment)
        for a, b, ohm in self.loom.bridges:
            e.resistor(self.node[("pin", a)], self.node[("pin", b)], ohm)
        return e

    def _add_driver(self, e: Elements, c: int, drive: Drive) -> None:
        """Add the output stage, always with three one-way elements so that they keep their numbers."""
        d, pin, supply = self.drivers[c], self.node[("pin", c)], self.node["supply"]
        e.source(pin, d.bias_v, d.bias_ohm)
        high = drive in (Drive.ON, Drive.HIGH)
        body_low, none = OneWay(GROUND, pin, _DIODE_V, _DIODE_OHM), OneWay(pin, pin, GAP_V, 1.0)
        body_high = OneWay(pin, supply, _DIODE_V, _DIODE_OHM)
        if d.kind == "low_side":
            e.one_ways += [OneWay(pin, GROUND, d.clamp_v, _CLAMP_OHM), body_low, none]
            if drive is not Drive.OFF:
                e.resistor(pin, GROUND, d.on_ohm)
        elif d.kind == "high_side":
            e.one_ways += [OneWay(supply, pin, d.clamp_v, _CLAMP_OHM), body_high, none]
            if high:
                e.resistor(supply, pin, d.on_ohm)
        elif d.kind == "logic":  # sources its high level, never sinks into it: blocked if held higher
            source = OneWay(GROUND, pin, -d.high_v, max(d.on_ohm, 1.0)) if high else none
            e.one_ways += [OneWay(pin, GROUND, d.clamp_v, _CLAMP_OHM), body_low, source]
            if drive is Drive.LOW:
                e.resistor(pin, GROUND, d.on_ohm)
        else:
            e.one_ways += [body_high, body_low, none]
            if high:
                e.resistor(supply, pin, d.on_ohm)
            elif drive is Drive.LOW:
                e.resistor(pin, GROUND, d.on_ohm)

    def _add_wire(self, e: Elements, b: BranchSpec, broken: bool) -> None:
        own, end = self.node[("pin", b.channel)], self.node[("end", b.channel)]
        pin = own if b.wired_to is None else self.node[("pin", b.wired_to)]
        if b.open or broken:
            e.one_ways += [OneWay(pin, end, GAP_V, _DIODE_OHM), OneWay(end, pin, GAP_V, _DIODE_OHM)]
        else:
            e.resistor(pin, end, b.wire_ohm * self.copper + b.series_ohm)
            e.one_ways += [OneWay(pin, pin, GAP_V, _DIODE_OHM)] * 2  # keeps the numbering
        if b.to_ground_ohm is not None:
            e.resistor(own, GROUND, b.to_ground_ohm)
        if b.to_supply_ohm is not None:
            e.resistor(own, self.node["supply"], b.to_supply_ohm)

    def _add_load(self, e: Elements, key: int, moment: Moment) -> None:
        a, b = self._ports[key]
        load, spec = self.loads[key], self.specs[key]
        if key not in moment.active:
            e.resistor(a, b, load.static_ohm)
        if isinstance(spec, WoundSpec):
            self._add_suppression(e, a, b, spec.suppression)
        if isinstance(spec, CoilSpec):
            primary_v = spec.gap_breakdown_v / spec.turns_ratio
            e.one_ways += [OneWay(b, a, primary_v, _DIODE_OHM), OneWay(a, b, primary_v, _DIODE_OHM)]
        channel = key % IGNITER_OFFSET
        branch = self.branches[channel]
        if key == channel and branch.across_load_ohm is not None:
            e.resistor(a, b, branch.across_load_ohm)
        if key >= IGNITER_OFFSET:
            igniter = branch.load
            assert isinstance(igniter, IgniterSpec)
            e.one_ways.append(OneWay(b, GROUND, igniter.clamp_v, _CLAMP_OHM))
            if channel in moment.firing:
                e.resistor(b, GROUND, igniter.on_ohm)

    @staticmethod
    def _add_suppression(e: Elements, a: int, b: int, s: SuppressionSpec) -> None:
        if s.kind == "resistor":
            e.resistor(a, b, s.ohm)
        elif s.kind == "diode":
            ends = (a, b) if s.reversed else (b, a)
            e.one_ways.append(OneWay(*ends, s.diode_v, _DIODE_OHM))

    # -- what the box sees ---------------------------------------------------------------------

    def firing(self, solved: Solved, currents: Array) -> frozenset[int]:
        """Return the channels whose igniter input is above its threshold."""
        out = set()
        for c, spec in self.specs.items():
            if isinstance(spec, IgniterSpec):
                end, ground = self.node[("end", c)], self._ground_node(self.branches[c])
                volt = solved.base[end] + solved.columns[end] @ currents
                if ground != GROUND:
                    volt -= solved.base[ground] + solved.columns[ground] @ currents
                if volt > spec.threshold_v:
                    out.add(c)
        return frozenset(out)

    def shunt(self, c: int, drive: Drive) -> dict[int, float]:
        """Return the driver current as weights of node voltages, without its one-way elements."""
        kind, pin, supply = self.drivers[c].kind, self.node[("pin", c)], self.node["supply"]
        g = 1.0 / max(self.drivers[c].on_ohm, SMALLEST_OHM)
        if drive is Drive.OFF or (kind == "high_side" and drive is Drive.LOW):
            return {}
        if kind == "low_side" or drive is Drive.LOW:
            return {pin: g}
        return {} if kind == "logic" else {supply: g, pin: -g}

    def shunt_one_ways(self, c: int) -> tuple[tuple[int, float], ...]:
        """Return the numbers of the driver's one-way elements, with the sign of each in the shunt current."""
        first = 1 + _PER_CHANNEL * self._order.index(c)
        if self.drivers[c].kind == "half_bridge":
            return ((first, -1.0), (first + 1, -1.0))
        return ((first, 1.0), (first + 1, -1.0), (first + 2, 1.0))
