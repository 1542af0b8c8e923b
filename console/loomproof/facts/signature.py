"""What a trace says about its load: the results and the words for them."""

from __future__ import annotations

from dataclasses import dataclass, fields
from enum import Enum, StrEnum

from loomproof.facts.estimate import Estimate


class HasMoved(StrEnum):
    """Did the armature reach its stop, as far as the current shows?"""

    YES = "yes"
    NO = "no"
    CANNOT_TELL = "cannot tell"


class OffShape(StrEnum):
    """What the drain did after the pulse: which path the load's energy took."""

    CLAMP = "clamp"  # the driver's own clamp: nothing across the load
    DIODE = "diode"  # a little above the supply
    RESISTOR = "resistor"  # in between, falling with the current
    NOTHING = "nothing"  # no energy came back
    CANNOT_TELL = "cannot tell"


class GapKind(Enum):
    """What a pulse could not show."""

    VALUE = 1  # a resistance, an inductance, a current
    MOTION = 2  # whether something moved
    HIDDEN_STROKE = 3  # the same: a stroke this small would not have shown
    AFTER_PULSE = 4  # where the load's energy went


@dataclass(frozen=True, slots=True)
class Gap:
    """What a pulse could not show, and why, in a sentence for the record."""

    kind: GapKind
    text: str


@dataclass(frozen=True)
class Signature:
    """Everything measured on one channel with one kind of pulse. None: not measured or not measurable.

    `resistance_ohm` is everything between the supply terminal and the driver's pin: load, wire and feed,
    without the driver. `inductance_h` is the small-current, armature-at-rest value where the load has one;
    `inductance_closed_h` the value after landing, `stroke_gain` their relative difference (where no landing was
    seen: the stroke that fits best). `hot_ratio` is a lamp's resistance at its steady current over that of the cold
    filament, both with wires and feed; `back_emf_v` what a motor opposes the supply with at its steady current.
    `gaps` are what could not be concluded and why.
    """

    channel: int
    resistance_ohm: Estimate | None = None
    inductance_h: Estimate | None = None
    final_current_a: Estimate | None = None
    moved: HasMoved = HasMoved.CANNOT_TELL
    move_time_s: Estimate | None = None
    clamp_v: Estimate | None = None
    decay_s: Estimate | None = None
    inrush_a: Estimate | None = None
    steady_a: Estimate | None = None
    source_ohm: Estimate | None = None
    supply_v: Estimate | None = None
    gaps: tuple[Gap, ...] = ()
    inductance_closed_h: Estimate | None = None
    supply_loaded_v: Estimate | None = None
    driver_ohm: Estimate | None = None
    drain_on_v: Estimate | None = None
    drain_off_v: Estimate | None = None
    off_shape: OffShape = OffShape.CANNOT_TELL
    suppression_ohm: Estimate | None = None
    rise_time_s: Estimate | None = None
    rise_to_a: float | None = None
    dip_statistic: float | None = None
    stroke_gain: Estimate | None = None
    correlation_r_l: float | None = None
    hot_ratio: Estimate | None = None
    back_emf_v: Estimate | None = None
    on_time_s: float = 0.0
    pulses: int = 0
    tripped: bool = False
    clipped: bool = False

    @property
    def refusals(self) -> tuple[str, ...]:
        """The gaps in words, as records keep them."""
        return tuple(gap.text for gap in self.gaps)

    def but(self, **changes: object) -> Signature:
        """A copy with some fields changed; `dataclasses.replace` is ten times as slow, and this runs often."""
        unknown = changes.keys() - self.__dict__.keys()
        if unknown:
            raise TypeError(f"a signature has no {sorted(unknown)}")
        new = object.__new__(Signature)
        new.__dict__.update(self.__dict__, **changes)
        return new

    def as_dict(self) -> dict[str, object]:
        """For records: only JSON types; what was not measured is left out."""
        out: dict[str, object] = {}
        for item in fields(self):
            value = getattr(self, item.name)
            if value is None or value == ():
                continue
            if isinstance(value, Estimate):
                out[item.name] = value.as_dict()
            elif isinstance(value, StrEnum):
                out[item.name] = str(value)
            elif isinstance(value, tuple):
                out["refusals"] = list(self.refusals)
            else:
                out[item.name] = value
        return out
