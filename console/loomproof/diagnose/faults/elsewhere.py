"""What an output shows that finds another channel's load, or none, on its wire."""

from __future__ import annotations

from dataclasses import replace

from loomproof.diagnose.faults.definition import FaultyChannel, Site
from loomproof.diagnose.faults.odds import DEAD, NO_CIRCUIT, OddsTable, sound_odds
from loomproof.diagnose.faults.overload import conduct_of
from loomproof.diagnose.observed.features import Conduct, Rest
from loomproof.job.catalogue import LoadType
from loomproof.job.load_traits import LOGIC_KINDS

INPUT_ON_LOW_SIDE = OddsTable(
    rest={Rest.GROUNDED: 0.97, Rest.FLOATING: 0.02, Rest.CONNECTED: 0.01},
    conduct={Conduct.NONE: 0.97, Conduct.FLOWS: 0.02, Conduct.EXCESS: 0.01},
    noticed=DEAD,
)
"""An input hangs between pin and ground: an output that pulls to ground gives it nothing."""

LOAD_ON_LOGIC = OddsTable(
    rest={Rest.HELD_HIGH: 0.97, Rest.FLOATING: 0.02, Rest.HELD_LOW: 0.01},
    conduct={Conduct.NONE: 0.95, Conduct.FLOWS: 0.03, Conduct.EXCESS: 0.02},
    noticed=DEAD,
)
"""A load hangs between pin and feed: a logic output cannot push its level against the supply."""


def seeing(site: Site, before: FaultyChannel, load: LoadType, opened_by: int | None) -> FaultyChannel:
    """Another channel's load is seen here.

    Args:
        site: the channel.
        before: what it was.
        load: what is seen.
        opened_by: the channel that opens when this one's connector is pulled; None where none does.
    """
    here = site.job.load_type(site.channel)
    foreign = load.kind is not before.load.kind
    odds = replace(sound_odds(load), pull=before.odds.pull)
    found = replace(
        before, load=load, own_batch=load.key == here.key, moved_elsewhere=opened_by, foreign=foreign
    )
    mismatch = {(False, True): INPUT_ON_LOW_SIDE, (True, False): LOAD_ON_LOGIC}.get(
        (here.kind in LOGIC_KINDS, load.kind in LOGIC_KINDS)
    )
    if mismatch is not None:
        blank = replace(odds, moved=None, off_shape=None)
        return replace(found, odds=blank.under(mismatch), garbled=True)
    if foreign:
        conduct = conduct_of(site.job, site.channel, load)
        odds = replace(odds, moved=None, off_shape=None, noticed=None, conduct=conduct)
    return replace(found, odds=odds)


def seeing_nothing(before: FaultyChannel) -> FaultyChannel:
    """No wire sits there."""
    return replace(before, odds=before.odds.under(NO_CIRCUIT))
