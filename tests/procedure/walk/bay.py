"""A person at a loom, with no box in between: what hands do becomes looks for the walk's machine."""

from loomproof.procedure.walk.machine import NO_UNTIL_S, WalkMachine
from loomproof.procedure.walk.map import map_of
from loomproof.procedure.walk.model import Look, Place, Stage, WalkKey

TICK_S = 0.05


def make_places(count=6, groups=()):
    """Places named a, b, ...; a group of channels shares one connector."""
    rest = [(c,) for c in range(1, count + 1) if not any(c in g for g in groups)]
    return tuple(
        Place(chr(ord("a") + i), f"place {i + 1}", "", g, frozenset(g), f"pull-{g[0]}")
        for i, g in enumerate(sorted([*rest, *groups]))
    )


class Bay:
    """A person at a loom. `wiring` says which channels really go when a place is pulled."""

    def __init__(self, places=None, wiring=None, **options):
        self.places = places or make_places()
        self.wiring = {p.id: p.visible for p in self.places} | (wiring or {})
        self.now = 0.0
        self.off = set()
        self.supply = True
        self.machine = WalkMachine(self.places, **options)
        self.said = list(self.machine.opening)

    @property
    def kinds(self):
        return [h.kind for h in self.said]

    @property
    def asked(self):
        return self.machine.asked

    def lost(self):
        return frozenset().union(*(self.wiring[p] for p in self.off))

    def wait(self, seconds=TICK_S):
        until = self.now + seconds
        while self.now < until - 1e-9:
            self.now += TICK_S
            self.said += self.machine.look(Look(self.now, self.lost(), self.supply))

    def pull(self, place, wait=0.4):
        self.off.add(place)
        self.wait(wait)

    def seat(self, place, wait=0.6):
        self.off.discard(place)
        self.wait(wait)

    def answer(self, place, rest=NO_UNTIL_S + 0.2):
        self.pull(place)
        self.seat(place, rest)

    def no(self, place):
        """Seat it and pull it again within two seconds."""
        self.seat(place, 0.8)
        self.pull(place)

    def key(self, key, place=None):
        self.said += self.machine.key(key, self.now, place)

    def walk(self, most=60):
        for _ in range(most):
            if self.machine.stage is Stage.DONE:
                return
            if self.asked is None:
                self.wait(NO_UNTIL_S + 0.2)
            elif self.wiring[self.asked]:
                self.answer(self.asked, 0.6)
            else:
                self.key(WalkKey.NOTHING)

    def map(self):
        return map_of(self.places, self.machine.answers)

    def found(self):
        return {row.place.id: row.found for row in self.map().rows}


def swapped(first, second):
    return {chr(96 + first): frozenset({second}), chr(96 + second): frozenset({first})}


class JoinedBay(Bay):
    """Some channels are joined: none of them loses its load before all of their connectors are off."""

    def __init__(self, joined, **options):
        self.joined = joined
        super().__init__(**options)

    def lost(self):
        gone = super().lost()
        return gone if self.joined <= gone else gone - self.joined
