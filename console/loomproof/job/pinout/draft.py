"""What was read of a pin-out table: one part for each output, and every other row with the reason why it is none."""

from dataclasses import dataclass, field

from loomproof.facts.kinds import HazardClass
from loomproof.job.pinout.columns import ColumnFact, Matching
from loomproof.job.pinout.loads import LoadReading
from loomproof.job.pinout.sheet import Remark, Sheet, Weight


@dataclass(frozen=True)
class PinoutOutput:
    """One output as the table says it. What could not be read is None; its remark says why."""

    row: int
    connector: str
    cavity: int
    name: str
    load: LoadReading
    channel: int = 0
    location: str = ""
    wire: str | None = None
    section_mm2: float | None = None
    length_m: float | None = None
    feed: str = ""
    fitted: bool = True
    hazard: HazardClass = HazardClass.NONE
    fuel_pump: bool = False
    group: str = ""
    notes: tuple[str, ...] = ()
    """How cells were read that did not say it plainly."""


@dataclass(frozen=True)
class LeftOut:
    """A row that became no output: its text and why."""

    row: int
    text: str
    reason: str


@dataclass(frozen=True)
class PinoutDraft:
    """A table read: its columns, its outputs, the rows left out, and what is to be settled or looked at."""

    sheet: Sheet
    matching: Matching
    lines: tuple[PinoutOutput, ...]
    left_out: tuple[LeftOut, ...]
    remarks: tuple[Remark, ...] = field(default=())

    @property
    def to_settle(self) -> tuple[Remark, ...]:
        """Remarks without whose settling the job is not sound."""
        return tuple(remark for remark in self.remarks if remark.weight is Weight.SETTLE)


@dataclass
class Notes:
    """What is said of the rows while they are read."""

    remarks: list[Remark]
    left_out: list[LeftOut] = field(default_factory=list)

    def leave(self, row: int, text: str, reason: str) -> None:
        """Note that a row is no output."""
        self.left_out.append(LeftOut(row, text, reason))

    def settle(self, row: int, fact: ColumnFact, reason: str, remedy: str) -> None:
        """Note what a person must settle before the job is sound.

        Args:
            row: its number in the table.
            fact: the column it is about.
            reason: why it is open.
            remedy: what to do.
        """
        self.remarks.append(Remark(Weight.SETTLE, row, fact.value, reason, remedy))

    def look(self, row: int, fact: ColumnFact, reason: str, remedy: str) -> None:
        """Note what a person should look at.

        Args:
            row: its number in the table.
            fact: the column it is about.
            reason: why.
            remedy: what to look for.
        """
        self.remarks.append(Remark(Weight.LOOK, row, fact.value, reason, remedy))

    def in_order(self) -> tuple[Remark, ...]:
        """Return the remarks by row, the weightiest of a row first."""
        return tuple(sorted(self.remarks, key=lambda remark: (remark.row or 0, remark.weight)))
