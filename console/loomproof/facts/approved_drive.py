"""A drive that safety has approved: all that the box client can be asked to drive.

`loomproof.safety.approve` is the one place of the product that makes an `ApprovedDrive`; a test of the source
tree holds to that, and a hand-made one is refused at run time.
"""

from __future__ import annotations

from dataclasses import InitVar, dataclass
from typing import Generic, TypeVar

from loomproof.facts.drive import DriveRequest
from loomproof.facts.kinds import HazardClass

RequestT = TypeVar("RequestT", bound=DriveRequest)
RequestT_co = TypeVar("RequestT_co", bound=DriveRequest, covariant=True)

_SEAL = object()


@dataclass(frozen=True, slots=True)
class Thermal:
    """How a load heats: lumped heat capacity, resistance to ambient, and the rise allowed here."""

    c_j_per_k: float
    r_th_k_per_w: float
    rise_k: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadEffect:
    """What a drive does to one load that it reaches, counted before it begins.

    Attributes:
        channel: the load's channel.
        place: where the load is, for the fuel ledger.
        heat_j: heat left in the load, as if it were fully on.
        thermal: how the load warms and cools; None: it has no thermal model.
        fuel_ul: liquid that would leave it, were the rail under pressure.
        is_fuel: the load lets fuel out.
        is_pump: the load is, or switches, the fuel pump.
    """

    channel: int
    place: str
    heat_j: float
    thermal: Thermal | None
    fuel_ul: float
    is_fuel: bool
    is_pump: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ApprovedDrive(Generic[RequestT_co]):
    """A request that every interlock and budget allows, with what it needs armed and what it does to the loads.

    Attributes:
        request: what is driven.
        hazards: the hazard classes to arm, none of them `NONE`.
        arm_s: how long to arm them.
        permitted_until_s: when the first statement that it rests on expires, on the box's clock.
        effects: one for every load it reaches, its own first.
    """

    request: RequestT_co
    hazards: tuple[HazardClass, ...]
    arm_s: float
    permitted_until_s: float
    effects: tuple[LoadEffect, ...]
    seal: InitVar[object]

    def __post_init__(self, seal: object) -> None:
        """Refuse whatever was not made by `_make_approved_drive`.

        Raises:
            TypeError: it was made by hand.
        """
        if seal is not _SEAL:
            raise TypeError("only loomproof.safety.approve makes an ApprovedDrive")


def _make_approved_drive(
    *,
    request: RequestT,
    hazards: tuple[HazardClass, ...],
    arm_s: float,
    permitted_until_s: float,
    effects: tuple[LoadEffect, ...],
) -> ApprovedDrive[RequestT]:
    """Make an approved drive. For `loomproof.safety.approve` alone.

    Args:
        request: what is driven.
        hazards: the hazard classes to arm.
        arm_s: how long to arm them, in s.
        permitted_until_s: when the first statement that it rests on expires.
        effects: one for every load it reaches.
    """
    return ApprovedDrive(
        request=request,
        hazards=hazards,
        arm_s=arm_s,
        permitted_until_s=permitted_until_s,
        effects=effects,
        seal=_SEAL,
    )
