"""Whether the passive look moves or sparks anything: every catalogue load at the corners of what a part may be.

    python -m benchmarks.passive_look [--fine]

For each load: the sense pulse that the program would give (the load type's limit, 0.1 mJ, half the pull-in current), the
most energy stored, the largest share of the pull-in current reached, and whether anything moved. Exit code 1 when a load
moved, stored more than 0.1 mJ, or got no pulse.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product

from loomproof.facts.kinds import JobSetting
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.load_traits import LOGIC_KINDS, SENSE_ENERGY_J
from loomproof.job.load_type import LoadType
from loomproof.job.model import Channel, Connector, Job, LoomIdentity
from loomproof.job.quantity import Quantity
from loomproof.procedure.steps.look import LEAST_SENSE_US
from loomproof.safety.budget import pulse_budget
from loomproof_sim.loom import LOGIC_DRIVER_OHM, Draw, load_spec
from loomproof_sim.plant.plant import Plant
from loomproof_sim.plant.spec import BranchSpec, Drive, DriverSpec, LoomSpec, MovingSpec, SupplySpec

SUPPLIES_V, TEMPERATURES_C = (9.0, 12.0, 13.5, 16.0), (-20.0, 20.0, 60.0)
LOOK_AFTER_S = 20e-3


class CornerDraw(Draw):
    """Parts at one end of each tolerance: -1 lowest, 0 nominal, 1 highest; those not named are at their most dangerous."""

    def __init__(self, **ends: float) -> None:
        super().__init__(0, 0.0)
        self._ends = {"pull_in_a": -1.0, "opening_ms": -1.0, "saturation_a": -1.0, **ends}

    def value(self, quantity: Quantity, load_key: str, name: str) -> float:
        return quantity.value * (1.0 + self._ends.get(name, 0.0) * quantity.tolerance_percent / 100.0)


@dataclass(frozen=True)
class Seen:
    """One sense pulse on one part."""

    moved: bool
    travel: float
    energy_j: float
    pull_in_share: float


@dataclass(frozen=True)
class Worst:
    """The worst of a load's corners; `pulse_us` shortest and longest given."""

    load: str
    pulse_us: tuple[int, int]
    energy_j: float
    pull_in_share: float
    moved: bool
    corners: int

    @property
    def safe(self) -> bool:
        return not self.moved and self.energy_j <= SENSE_ENERGY_J and self.pulse_us[0] >= LEAST_SENSE_US


def sense_us(load: LoadType, supply_v: float) -> int:
    """The sense pulse that the program gives a load, from what it can know of it."""
    job = Job(
        identity=LoomIdentity(title="one load", job_number="LOOK"),
        setting=JobSetting.BENCH,
        connectors=(Connector(id="H1", name="header", cavities=1),),
        channels=(Channel(channel=1, name=load.name, cavity="H1-1", load=load.key),),
    )
    return pulse_budget(job, 1, supply_v).max_sense_us


def corners(load: LoadType, *, fine: bool) -> Iterator[tuple[LoomSpec, float]]:
    """Looms of one such part, with their supply."""
    supplies = SUPPLIES_V if fine else SUPPLIES_V[::3]
    temperatures = TEMPERATURES_C if fine else TEMPERATURES_C[::2]
    ends: Sequence[float] = (-1.0, 1.0) if fine else (-1.0,)
    gains = (0.04, 0.2, 0.8) if fine else (0.2,)
    laws = ("first", "second") if fine and load.moves else ("first",)
    for v, t, r, henry, law in product(supplies, temperatures, ends, (-1.0, 1.0), laws):
        part = load_spec(load, CornerDraw(resistance_ohm=r, inductance_mh=henry, steady_current_a=0.0))
        for gain in gains if isinstance(part, MovingSpec) else (0.0,):
            fitted = replace(part, stroke_gain=gain) if isinstance(part, MovingSpec) else part
            logic = load.kind in LOGIC_KINDS
            driver = (
                DriverSpec(on_ohm=0.05) if not logic else DriverSpec(kind="logic", on_ohm=LOGIC_DRIVER_OHM)
            )
            loom = LoomSpec(
                SupplySpec(v, 0.0),
                branches=(BranchSpec(1, fitted),),
                drivers={1: driver},
                temperature_c=t,
                law=law,
            )
            yield loom, v


def look(loom: LoomSpec, on_us: int) -> Seen:
    """One sense pulse, and what came of it."""
    plant = Plant(loom)
    start, end = 1e-3, 1e-3 + on_us * 1e-6
    plant.switch(1, Drive.ON, start)
    plant.switch(1, Drive.OFF, end)
    plant.sample(1, end + LOOK_AFTER_S)
    load = loom.branches[0].load
    pull_in = load.pull_in_a if isinstance(load, MovingSpec) else None
    channel_a = float(plant.primary_current(1, [end - 1e-9])[0])
    return Seen(
        moved=plant.moved(1),
        travel=max(plant.armature_travel(1, end + k * LOOK_AFTER_S / 20) for k in range(21)),
        energy_j=plant.stored_energy_j(1, end - 1e-9),
        pull_in_share=channel_a / pull_in if pull_in else 0.0,
    )


def worst(load: LoadType, *, fine: bool = False) -> Worst:
    """All corners of a load."""
    seen, pulses = [], []
    for loom, v in corners(load, fine=fine):
        pulses.append(sense_us(load, v))
        seen.append(look(loom, pulses[-1]))
    moves = load.moves
    return Worst(
        load=load.key,
        pulse_us=(min(pulses), max(pulses)),
        energy_j=max(s.energy_j for s in seen),
        pull_in_share=max(s.pull_in_share for s in seen),
        moved=any(s.moved or (moves and s.travel > 0.0) for s in seen),
        corners=len(seen),
    )


def main() -> int:
    """Prints the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--fine", action="store_true", help="more corners, strokes and the second plant law")
    fine = parser.parse_args().fine
    print(
        "| load | corners | sense pulse us | most energy mJ | most of pull-in % | moved |\n|---|---|---|---|---|---|"
    )
    bad = 0
    for load in CATALOGUE.values():
        row = worst(load, fine=fine)
        bad += not row.safe
        share = f"{100 * row.pull_in_share:.0f}" if row.pull_in_share else "-"
        low, high = row.pulse_us
        print(
            f"| {load.key} | {row.corners} | {low if low == high else f'{low} to {high}'} | {1e3 * row.energy_j:.3f} "
            f"| {share} | {'YES' if row.moved else 'no'} |",
            flush=True,
        )
    print(f"{bad} of {len(CATALOGUE)} loads are not safe to look at")
    return 1 if bad else 0


__all__ = ["corners", "look", "sense_us", "worst"]

if __name__ == "__main__":
    sys.exit(main())
