"""A value with its tolerance and where it comes from, and the base of every part of a job."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
"""A finite number; a whole number is one, text and true/false are not."""
Whole = Annotated[int, Field(strict=True)]
"""A whole number; text, true/false and 3.0 are not."""
Text = Annotated[str, Field(strict=True, min_length=1, max_length=200)]
"""Text that says something."""
Flag = Annotated[bool, Field(strict=True)]
"""`true` or `false`, and nothing that merely looks like it."""


class JobPart(BaseModel):
    """Base of everything in a job file: immutable, and a key it does not know is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid", use_attribute_docstrings=True)


class Quantity(JobPart):
    """A value known to within a tolerance, with its source.

    The tolerance is symmetric and in percent of the value: 14 with 10 means 12.6 to 15.4.
    """

    value: Annotated[Number, Field(gt=0)]
    """In the unit that the name of the key ends with."""
    tolerance_percent: Annotated[Number, Field(ge=0, lt=100)] = 10.0
    """Half width of the interval of sound parts, in percent of the value."""
    source: Text
    """Data sheet, label, measurement or standard; or `common practice, no source`."""

    @property
    def low(self) -> float:
        """Lowest value of a sound part."""
        return self.value * (1.0 - self.tolerance_percent / 100.0)

    @property
    def high(self) -> float:
        """Highest value of a sound part."""
        return self.value * (1.0 + self.tolerance_percent / 100.0)
