"""Which hazard classes may be driven now: live statements, what they hold for and what voids them (pure).

Rules, all of them:

1. A hazard class is blocked unless every statement it needs is live. Class `none` needs none.
2. A statement is live from when it was made until its expiry, if nothing has voided it since. A statement
   made after `now` is not live: time that runs backwards frees nothing.
3. Stop, link loss, supply loss, another job and another box void every statement.
4. Driving fuel voids `CYLINDERS_AIRED` and `SPARK_CLEAR`, and from then on, for good, spark needs both: an
   airing stated after the last fuel, still live.
5. Driving a fuel pump channel voids `FUEL_ISOLATED`, `RAIL_DRY` and `SPARK_CLEAR`.
6. A fuel pump channel needs its own statement beside those of its class.
7. On a vehicle no pulse is given, not even a sense pulse, before `LOOM_HARMLESS` was stated. It does not expire,
   for the loom does not change by itself; what voids every statement voids it, too.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from types import MappingProxyType

from loomproof.facts.kinds import HazardClass, JobSetting
from loomproof.safety.statements import HAZARD_STATEMENTS, StatementKind, form_for

DEFAULT_EXPIRY_S = 600.0
LONGEST_EXPIRY_S = 1800.0


class Voider(StrEnum):
    """What can void statements."""

    STOP = "stop"
    LINK_LOST = "link_lost"
    SUPPLY_LOST = "supply_lost"
    OTHER_JOB = "other_job"
    OTHER_BOX = "other_box"
    PUMP_DRIVEN = "pump_driven"
    FUEL_DRIVEN = "fuel_driven"
    WITHDRAWN = "withdrawn"
    EXPIRED = "expired"


VOIDER_TEXT: Mapping[Voider, str] = {
    Voider.STOP: "everything was stopped",
    Voider.LINK_LOST: "the link to the box was lost",
    Voider.SUPPLY_LOST: "the supply was lost",
    Voider.OTHER_JOB: "another job was opened",
    Voider.OTHER_BOX: "another box was connected",
    Voider.PUMP_DRIVEN: "a fuel pump channel was driven",
    Voider.FUEL_DRIVEN: "an injector was driven",
    Voider.WITHDRAWN: "it was withdrawn",
    Voider.EXPIRED: "its time ran out",
}

_ALL = frozenset(StatementKind)
VOIDS: Mapping[Voider, frozenset[StatementKind]] = {
    Voider.STOP: _ALL,
    Voider.LINK_LOST: _ALL,
    Voider.SUPPLY_LOST: _ALL,
    Voider.OTHER_JOB: _ALL,
    Voider.OTHER_BOX: _ALL,
    Voider.WITHDRAWN: _ALL,
    Voider.PUMP_DRIVEN: frozenset(
        {StatementKind.FUEL_ISOLATED, StatementKind.RAIL_DRY, StatementKind.SPARK_CLEAR}
    ),
    Voider.FUEL_DRIVEN: frozenset({StatementKind.CYLINDERS_AIRED, StatementKind.SPARK_CLEAR}),
    Voider.EXPIRED: frozenset(),
}


class StatementRefusedError(ValueError):
    """A statement that cannot be accepted; the text says what is missing."""


@dataclass(frozen=True, slots=True)
class Statement:
    """What somebody stated: kind, the keys of the confirmed facts, who, when, and until when it holds."""

    kind: StatementKind
    facts: tuple[str, ...]
    who: str
    made_s: float
    expires_s: float

    def live(self, now_s: float) -> bool:
        """Whether it holds at `now_s`."""
        return self.made_s <= now_s < self.expires_s


@dataclass(frozen=True, slots=True)
class Block:
    """One reason why a hazard class is blocked, and what would free it."""

    reason: str
    remedy: str
    needs: StatementKind | None = None


@dataclass(frozen=True, slots=True)
class Permit:
    """The hazard class may be driven until `until_s` (infinite for class `none`), on these statements."""

    hazard: HazardClass
    until_s: float
    statements: tuple[Statement, ...] = ()


@dataclass(frozen=True, slots=True)
class Blocked:
    """The hazard class may not be driven."""

    hazard: HazardClass
    reasons: tuple[Block, ...]

    @property
    def needs(self) -> tuple[StatementKind, ...]:
        """The statements that would free it."""
        return tuple(block.needs for block in self.reasons if block.needs is not None)

    @property
    def sentence(self) -> str:
        """All reasons and remedies in words."""
        return " ".join(f"{block.reason} {block.remedy}" for block in self.reasons)


@dataclass(frozen=True)
class Interlocks:
    """What has been stated and voided so far. Immutable: every change returns a new value.

    Attributes:
        setting: decides the words of the statements.
        expiry_s: how long a statement holds, in s.
        statements: the newest statement of each kind that nothing has voided; it may have expired.
        voided_by: why a kind that was stated is no longer live.
        fuel_driven: an injector was driven in this job, now or in an earlier session; never unset.
    """

    setting: JobSetting = JobSetting.VEHICLE
    expiry_s: float = DEFAULT_EXPIRY_S
    statements: Mapping[StatementKind, Statement] = field(default_factory=lambda: MappingProxyType({}))
    voided_by: Mapping[StatementKind, Voider] = field(default_factory=lambda: MappingProxyType({}))
    fuel_driven: bool = False

    def __post_init__(self) -> None:
        """Refuses an expiry that is none."""
        if not (0.0 < self.expiry_s <= LONGEST_EXPIRY_S):
            raise ValueError(f"a statement holds for more than 0 s and at most {LONGEST_EXPIRY_S:g} s")

    def with_statement(
        self, kind: StatementKind, facts: Collection[str], who: str, now_s: float, *, typed: str | None = None
    ) -> Interlocks:
        """Accept a statement, complete and by somebody.

        Args:
            kind: what is stated.
            facts: keys of the facts confirmed one by one; all of the form's are needed.
            who: the person's name or initials.
            now_s: the clock that later calls are given, in s.
            typed: what the person typed against the form's `typed_word`; None when the caller has compared
            it.

        Raises:
            StatementRefusedError: a fact is missing, nobody's name is given, or the typed word is another.
        """
        form = form_for(kind, self.setting)
        missing = form.missing(tuple(facts))
        if missing:
            raise StatementRefusedError("not confirmed: " + "; ".join(fact.text for fact in missing))
        if not who.strip():
            raise StatementRefusedError("say who states this")
        if typed is not None and typed.strip().lower() != form.typed_word:
            raise StatementRefusedError(f'type the word "{form.typed_word}" to state this')
        if not math.isfinite(now_s):
            raise StatementRefusedError("the clock gives no time")
        statement = Statement(kind, form.fact_keys, who.strip(), now_s, now_s + self.expiry_s)
        return replace(
            self,
            statements=MappingProxyType({**self.statements, kind: statement}),
            voided_by=MappingProxyType({k: v for k, v in self.voided_by.items() if k is not kind}),
        )

    def voided(self, by: Voider, kind: StatementKind | None = None) -> Interlocks:
        """Void what `by` voids; with `kind`, only that one (for a withdrawal)."""
        gone = VOIDS[by] if kind is None else VOIDS[by] & {kind}
        hit = [k for k in self.statements if k in gone]
        return replace(
            self,
            statements=MappingProxyType({k: s for k, s in self.statements.items() if k not in gone}),
            voided_by=MappingProxyType({**self.voided_by, **dict.fromkeys(hit, by)}),
            fuel_driven=self.fuel_driven or by is Voider.FUEL_DRIVEN,
        )

    def live(self, now_s: float) -> tuple[Statement, ...]:
        """The statements that hold now."""
        return tuple(statement for statement in self.statements.values() if statement.live(now_s))

    def needed(self, hazard: HazardClass, pump: StatementKind | None = None) -> tuple[StatementKind, ...]:
        """The statements a hazard class needs now; `pump` is that of a pump (`pump_statement`)."""
        kinds = HAZARD_STATEMENTS[hazard]
        if hazard is HazardClass.SPARK and self.fuel_driven:
            kinds = (StatementKind.CYLINDERS_AIRED, *kinds)
        if pump is not None:
            kinds = (*kinds, pump)
        return kinds

    def blocks_pulses(self) -> Blocked | None:
        """Why not even a sense pulse may be given; None when one may."""
        kind = StatementKind.LOOM_HARMLESS
        if self.setting is not JobSetting.VEHICLE or kind in self.statements:
            return None
        return Blocked(HazardClass.NONE, (self._block(kind, 0.0),))

    def rail_dry(self, now_s: float) -> bool:
        """Whether nothing can press fuel into the injectors, so that their pulses release none: stated, or off a vehicle.

        Off a vehicle the isolation says the same: no injector is joined to a rail or a line.
        """
        isolated = self.setting is not JobSetting.VEHICLE and self._is_live(
            StatementKind.FUEL_ISOLATED, now_s
        )
        return isolated or self._is_live(StatementKind.RAIL_DRY, now_s)

    def permit(
        self, hazard: HazardClass, now_s: float, *, pump: StatementKind | None = None
    ) -> Permit | Blocked:
        """Whether that hazard class may be driven at `now_s`, and until when or why not."""
        kinds = self.needed(hazard, pump)
        blocks = tuple(self._block(kind, now_s) for kind in kinds if not self._is_live(kind, now_s))
        if blocks:
            return Blocked(hazard, blocks)
        held = tuple(self.statements[kind] for kind in kinds)
        return Permit(hazard, min((s.expires_s for s in held), default=math.inf), held)

    def _is_live(self, kind: StatementKind, now_s: float) -> bool:
        return kind in self.statements and self.statements[kind].live(now_s)

    def _block(self, kind: StatementKind, now_s: float) -> Block:
        title = form_for(kind, self.setting).title
        remedy = "Check it again, then state it."
        if kind in self.voided_by:
            reason = f'"{title}" no longer holds: {VOIDER_TEXT[self.voided_by[kind]]}.'
        elif kind in self.statements:
            late = now_s >= self.statements[kind].expires_s
            why = VOIDER_TEXT[Voider.EXPIRED] if late else "the clock went backwards"
            reason = f'"{title}" no longer holds: {why}.'
        else:
            reason, remedy = f'Nobody has stated "{title}".', "Check it, then state it."
        if kind is StatementKind.CYLINDERS_AIRED and kind not in self.voided_by:
            reason += " An injector has been driven in this job."
        return Block(reason, remedy, kind)
