"""The location walk: which channel answers at which place, found by pulling one connector after another."""

from loomproof.procedure.walk.machine import WalkMachine
from loomproof.procedure.walk.mapping import PlaceFound, PlaceState, WalkMap, map_of
from loomproof.procedure.walk.mend import MendPlan, Move, MoveKind, plan_moves
from loomproof.procedure.walk.model import (
    Answer,
    Happening,
    How,
    Kind,
    Look,
    Order,
    Place,
    Stage,
    WalkKey,
    WalkState,
)
from loomproof.procedure.walk.places import places_of

__all__ = [
    "Answer",
    "Happening",
    "How",
    "Kind",
    "Look",
    "MendPlan",
    "Move",
    "MoveKind",
    "Order",
    "Place",
    "PlaceFound",
    "PlaceState",
    "Stage",
    "WalkKey",
    "WalkMachine",
    "WalkMap",
    "WalkState",
    "map_of",
    "places_of",
    "plan_moves",
]
