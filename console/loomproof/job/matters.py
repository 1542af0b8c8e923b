"""Which deviations are faults: what a verdict is to find, and below which nobody needs to know."""

from typing import Annotated

from pydantic import Field

from loomproof.job.quantity import JobPart, Number

__all__ = ["Matters"]


class Matters(JobPart):
    """The smallest faults that matter. Defaults: judgement of this project, unchecked."""

    joint_percent: Annotated[Number, Field(ge=0.5, le=100)] = 5.0
    """Added resistance (a bad crimp, a corroded pin), in percent of what the load states."""
    joint_ohm: Annotated[Number, Field(gt=0, le=100)] | None = None
    """The same in ohm; of the two the larger counts."""
    lost_turns_percent: Annotated[Number, Field(ge=1, le=50)] = 4.0
    """Lost inductance (shorted turns), in percent of a part's own."""

    def joint_share(self, stated_ohm: float) -> float:
        """Smallest joint that matters, relative to a stated resistance in ohm."""
        in_ohm = 0.0 if self.joint_ohm is None else self.joint_ohm / stated_ohm
        return min(max(self.joint_percent / 100.0, in_ohm), 1.0)
