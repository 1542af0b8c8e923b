"""Everything that decides at one moment whether a drive is allowed, as a frozen value (pure).

What was stated, what earlier drives have left, the supply, which loads each channel is known to reach, and what
the box allows. Budgets and permits are worked out from it and from nothing else.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from loomproof.facts.drive import PulseTrain
from loomproof.job.model import Job
from loomproof.safety.budget import BoxCeilings, Budget, pulse_budget
from loomproof.safety.fuel_ledger import FuelLedger
from loomproof.safety.heat import HeatLedger
from loomproof.safety.interlocks import Blocked, Interlocks, Permit
from loomproof.safety.statements import hazards_of, pump_statement
from loomproof.safety.trains import fit_train
from loomproof_wire.messages import CEILINGS

LONGEST_DRIVE_S = CEILINGS.max_arm_ms / 1000
"""No drive outlasts its arming."""


@dataclass(frozen=True, kw_only=True)
class DriveConditions:
    """The conditions of a drive at one moment.

    Attributes:
        job: what should hang where.
        ceilings: what the box itself allows, by channel.
        interlocks: what was stated and voided.
        fuel: what each place would have received, were the isolation wrong.
        heat: how warm earlier drives have left each load.
        reaches: the loads that a channel has been seen to reach beside its own, by channel.
        supply_v: the highest supply seen, in V.
        now_s: the moment, on the box's clock.
    """

    job: Job
    ceilings: Mapping[int, BoxCeilings]
    interlocks: Interlocks
    fuel: FuelLedger
    heat: HeatLedger
    reaches: Mapping[int, frozenset[int]]
    supply_v: float
    now_s: float

    def loads_reached(self, channels: Iterable[int]) -> tuple[int, ...]:
        """The channels themselves, and those whose loads a pull check has shown they reach."""
        own = tuple(channels)
        return tuple(dict.fromkeys([*own, *(x for c in own for x in sorted(self.reaches.get(c, ())))]))

    def place(self, channel: int) -> str:
        """Where a channel's load is, for the fuel ledger."""
        return self.job.channel(channel).location or f"channel {channel}"

    def fuel_at(self, channels: Iterable[int]) -> bool:
        """Whether any load that these channels reach has been given fuel since the fuel was last checked."""
        return any(self.fuel.at(self.place(channel)) > 0.0 for channel in self.loads_reached(channels))

    def after_fuel(self, channel: int, liquid_ul: float) -> DriveConditions:
        """The same conditions with that much more liquid at a channel's place."""
        return replace(self, fuel=self.fuel.with_drive(self.place(channel), liquid_ul))

    def permit(self, channels: Iterable[int]) -> Permit | Blocked:
        """Whether these channels may be driven now: every hazard they have, and of every load they reach."""
        unpulsed = self.interlocks.blocks_pulses()
        found = self._permit_by_hazard(channels)
        if unpulsed is None:
            return found
        also = found.reasons if isinstance(found, Blocked) else ()
        return Blocked(found.hazard, (*unpulsed.reasons, *also))

    def _permit_by_hazard(self, channels: Iterable[int]) -> Permit | Blocked:
        permits: list[Permit] = []
        for channel in self.loads_reached(channels):
            entry, load = self.job.channel(channel), self.job.load_type(channel)
            pump = pump_statement(load.kind) if entry.fuel_pump else None
            for hazard in hazards_of(load):
                found = self.interlocks.permit(hazard, self.now_s, pump=pump)
                if isinstance(found, Blocked):
                    return found
                permits.append(found)
        return min(permits, key=lambda permit: permit.until_s)

    @property
    def rail_dry(self) -> bool:
        """Whether it is stated, for as long as any drive may last, that nothing can press fuel into the injectors."""
        return self.interlocks.rail_dry(self.now_s) and self.interlocks.rail_dry(self.now_s + LONGEST_DRIVE_S)

    def budget(
        self,
        channel: int,
        *,
        on_time_us: int | None = None,
        period_us: int | None = None,
        rail_dry: bool | None = None,
    ) -> Budget:
        """The budget of one channel at the present supply, less what earlier drives have used up.

        Args:
            channel: the channel.
            on_time_us: pulse length `max_count` is for; None: that of the channel's own train.
            period_us: period `max_count` is for; None: that of the channel's own train.
            rail_dry: whether nothing can press fuel into the injectors; None: as it is stated.
        """
        dry = self.rail_dry if rail_dry is None else rail_dry

        def with_warmth(warm_k: float) -> Budget:
            return pulse_budget(
                self.job,
                channel,
                self.supply_v,
                on_time_us=on_time_us,
                period_us=period_us,
                ceilings=self.ceilings[channel],
                rail_dry=dry,
                released_ul=self.fuel.at(self.place(channel)),
                warm_k=warm_k,
            )

        cold = with_warmth(0.0)
        warm_k = self.heat.rise_k(channel, cold.model, self.now_s)
        return with_warmth(warm_k) if warm_k else cold

    def budgets(self, channels: Iterable[int]) -> tuple[Budget, ...]:
        """The budgets of channels and of every load that they are known to reach, the first channel's first."""
        return tuple(self.budget(channel) for channel in self.loads_reached(channels))

    def fit(self, channel: int, train: PulseTrain) -> tuple[PulseTrain | None, tuple[str, ...]]:
        """The train, lowered to the budgets of its channel and of every load that it is known to reach.

        Returns:
            The train, or None when not one pulse may be driven; and what was lowered and why.
        """
        notes: list[str] = []
        fitted: PulseTrain | None = train
        for budget in self.budgets((channel,)):
            if fitted is not None:
                fitted, why = fit_train(budget, fitted)
                notes.extend(why)
        return fitted, tuple(notes)
