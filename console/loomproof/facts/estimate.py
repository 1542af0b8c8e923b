"""A value with its standard uncertainty and degrees of freedom (JCGM 100:2008, the GUM)."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Estimate:
    """A measured value with its combined standard uncertainty.

    Attributes:
        value: best estimate, in the unit that the holding field names.
        u: combined standard uncertainty, same unit.
        dof: effective degrees of freedom of `u`.
        u_gain: the part of `u` that comes from the instrument's scales; it is already inside `u`, and it
        does not
            shrink when the measurement is repeated with the same channel.
    """

    value: float
    u: float
    dof: float = math.inf
    u_gain: float = 0.0

    def __post_init__(self) -> None:
        """Refuses what no measurement can give."""
        if not math.isfinite(self.value):
            raise ValueError(f"an estimate needs a finite value, not {self.value}")
        if not (math.isfinite(self.u) and self.u >= 0.0):
            raise ValueError(f"an uncertainty is finite and not negative, not {self.u}")

    @property
    def relative(self) -> float:
        """`u` over the value; infinite at zero."""
        return self.u / abs(self.value) if self.value else math.inf

    @property
    def u_random(self) -> float:
        """The part of `u` that repeating the measurement shrinks."""
        return math.sqrt(max(self.u**2 - self.u_gain**2, 0.0))

    def expanded(self, k: float = 2.0) -> tuple[float, float]:
        """The interval value +- k u."""
        return self.value - k * self.u, self.value + k * self.u

    def scaled(self, factor: float) -> Estimate:
        """This estimate in another unit."""
        return replace(
            self, value=self.value * factor, u=self.u * abs(factor), u_gain=self.u_gain * abs(factor)
        )

    def as_dict(self) -> dict[str, float | None]:
        """For records: JSON has no infinity, so unlimited degrees of freedom are None."""
        return {
            "value": self.value,
            "u": self.u,
            "dof": None if math.isinf(self.dof) else self.dof,
            "u_gain": self.u_gain,
        }
