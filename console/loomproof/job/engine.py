"""Engine layouts: cylinder numbers, firing order, angles, wasted-spark companions, places for a drawing.

Cylinder numbers follow DIN 73021 unless the job states its own: seen from the free end (the side opposite the
power output), cylinder 1 is the left bank's nearest to the viewer, counting along that bank and then along
the right one. Companions follow Halderman & Linder, Automotive Fuel and Emissions Control Systems: write the
second half of the firing order under the first.
"""

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

from loomproof.job.quantity import JobPart, Number, Whole

Layout = Literal["inline", "vee", "flat", "none"]
CYCLE_DEG = 720.0
"""One four-stroke working cycle in degrees of crankshaft."""


@dataclass(frozen=True)
class CylinderPlace:
    """Where one cylinder lies, seen from above with the front of the vehicle at the top.

    `bank` is 1 for the left bank (or the only one) and 2 for the right, as seen from the free end; `row`
    counts from 0 at the free end. `x` runs to the right and `y` down, in whole cylinder pitches from 0.
    """

    cylinder: int
    bank: int
    row: int
    x: int
    y: int


class Engine(JobPart):
    """The engine the loom belongs to."""

    cylinders: Annotated[Whole, Field(ge=1, le=16)]
    layout: Layout = "inline"
    """`none`: the cylinders' places are unknown or do not matter."""
    bank_angle_deg: Annotated[Number, Field(gt=0, le=180)] | None = None
    """Angle between the banks of a vee."""
    orientation: Literal["lengthwise", "crosswise"] = "lengthwise"
    """How the crankshaft lies in the vehicle."""
    free_end: Literal["front", "rear", "left", "right"] | None = None
    """Where the side opposite the power output points. If left out: front if lengthwise, right if crosswise."""
    numbering: Literal["din_73021", "stated"] = "din_73021"
    banks: tuple[tuple[Whole, ...], ...] | None = None
    """With `numbering = "stated"`: cylinders of the left bank, then of the right, each from the free end."""
    firing_order: tuple[Whole, ...]
    """All cylinders in the order they fire, beginning with 1."""
    intervals_deg: tuple[Number, ...] | None = None
    """Uneven engines: crank degrees from each firing to the next, in firing order; they add up to 720."""
    ignition: Literal["single", "wasted_spark", "none"] = "single"
    displacement_cm3: Annotated[Number, Field(ge=20, le=30000)] | None = None
    """Of all cylinders together."""

    @property
    def firing_intervals_deg(self) -> tuple[float, ...]:
        """Crank degrees from each firing to the next, in firing order."""
        return self.intervals_deg or (CYCLE_DEG / self.cylinders,) * self.cylinders

    def firing_angles(self) -> dict[int, float]:
        """Return crank degrees of each cylinder's firing, the first of the order at 0."""
        angles: dict[int, float] = {}
        at = 0.0
        for cylinder, interval in zip(self.firing_order, self.firing_intervals_deg, strict=True):
            angles[cylinder] = at
            at += interval
        return angles

    @property
    def wasted_pairs(self) -> tuple[tuple[int, int], ...]:
        """Companion cylinders whose pistons are at top dead centre together, in firing order.

        Raises:
            ValueError: The count is odd, or no cylinder fires half a cycle after another.
        """
        half, odd = divmod(self.cylinders, 2)
        if odd:
            raise ValueError(f"{self.cylinders} cylinders cannot be paired for wasted spark")
        pairs = tuple(zip(self.firing_order[:half], self.firing_order[half:], strict=True))
        angles = self.firing_angles()
        for one, other in pairs:
            if abs(angles[other] - angles[one] - CYCLE_DEG / 2) > 1e-6:
                raise ValueError(f"cylinders {one} and {other} are not 360 degrees apart")
        return pairs

    def bank_rows(self) -> tuple[tuple[int, ...], ...]:
        """Return cylinder numbers by bank (left first), each from the free end."""
        if self.banks is not None:
            return self.banks
        numbers = tuple(range(1, self.cylinders + 1))
        if self.layout in ("vee", "flat"):
            half = self.cylinders // 2
            return numbers[:half], numbers[half:]
        return (numbers,)

    def cylinder_places(self) -> tuple[CylinderPlace, ...]:
        """Return every cylinder's place as it lies in the bay, in cylinder order."""
        rows = self.bank_rows()
        end = self.free_end or ("front" if self.orientation == "lengthwise" else "right")
        places = []
        for bank, numbers in enumerate(rows):
            # Who stands at the free end looks towards the output: in front, his left is the page's right.
            across = len(rows) - 1 - bank if end in ("front", "left") else bank
            for row, cylinder in enumerate(numbers):
                along = row if end in ("front", "left") else len(numbers) - 1 - row
                x, y = _on_page(end, across, along, len(rows))
                places.append(CylinderPlace(cylinder, bank + 1, row, x, y))
        return tuple(sorted(places, key=lambda place: place.cylinder))


def _on_page(end: str, across: int, along: int, banks: int) -> tuple[int, int]:
    if end in ("front", "rear"):
        return across, along
    return along, banks - 1 - across
