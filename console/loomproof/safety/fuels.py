"""How much of a fuel may be let out into a cylinder, were the isolation wrong (pure)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from loomproof.facts.kinds import Fuel
from loomproof.safety import physics

WORKING_SHARE = 0.25
"""Of the lower flammable limit: the usual margin, NFPA 69 (from memory). It also stands for a mixture that is not even:
all of the liquid next to the injector is richer than the same liquid spread over the cylinder."""


@dataclass(frozen=True, slots=True)
class FuelFigures:
    """Cautious figures of one fuel: of a range, those that make the least liquid flammable."""

    lower_flammable_fraction: float
    kg_per_mol: float
    g_per_cm3: float


FIGURES: Mapping[Fuel, FuelFigures] = {
    Fuel.PETROL: FuelFigures(0.012, 0.095, 0.775),
    Fuel.E85: FuelFigures(0.012, 0.095, 0.79),
    Fuel.ETHANOL: FuelFigures(0.033, 0.0461, 0.79),
    Fuel.METHANOL: FuelFigures(0.060, 0.0320, 0.795),
    Fuel.DIESEL: FuelFigures(0.006, 0.170, 0.845),
    Fuel.PARAFFIN: FuelFigures(0.007, 0.150, 0.84),
    Fuel.LPG: FuelFigures(0.018, 0.0441, 0.58),
}
"""Lower flammable limits: M. G. Zabetakis, Flammability Characteristics of Combustible Gases and Vapors, US Bureau of Mines
Bulletin 627, 1965 (from memory; petrol is printed as 1.2 to 1.4 %). Molar masses and densities: the end of each fuel's usual
range that makes less liquid flammable (petrol EN 228, diesel EN 590, automotive LPG EN 589; from memory). The vapour of a
blend with ethanol is mostly that of its petrol, so it counts as petrol."""


def flammable_ul(volume_cm3: float, fuel: Fuel | None) -> float:
    """Liquid in uL that makes a just flammable mixture of a volume of air; None: the fuel of which the least does."""
    fuels = FIGURES.values() if fuel is None else (FIGURES[fuel],)
    return min(
        physics.flammable_liquid_ul(volume_cm3, f.lower_flammable_fraction, f.kg_per_mol, f.g_per_cm3)
        for f in fuels
    )


def allowed_ul(volume_cm3: float, fuel: Fuel | None) -> float:
    """Liquid in uL that may be let out into a volume, as long as nobody has checked the fuel again."""
    return WORKING_SHARE * flammable_ul(volume_cm3, fuel)
