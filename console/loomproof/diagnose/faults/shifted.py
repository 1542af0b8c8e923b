"""A plug sits one cavity on, or its pins were put in counting from the wrong one: every wire is at the next output."""

from __future__ import annotations

from dataclasses import replace

from loomproof.diagnose.faults.definition import Advice, FaultDefinition, FaultyChannel, Scope, Site
from loomproof.diagnose.faults.elsewhere import seeing, seeing_nothing
from loomproof.diagnose.faults.odds import DEAD, SHORTED, OddsTable
from loomproof.facts.fault_kind import FaultKind
from loomproof.job.load_traits import LOGIC_KINDS
from loomproof.job.model import Job
from loomproof.job.shift import connector_of, feeds_shifted, wires_shifted

_OPENS_ANOTHER = {"other": 0.986, "none": 0.004, "matched": 0.005, "several": 0.005}
_OPENS_NOTHING = {"none": 0.97, "matched": 0.01, "other": 0.01, "several": 0.01}


def _effect(site: Site, before: FaultyChannel) -> FaultyChannel:
    """The wire of the cavity before is seen; where there is none, a feed's wire or nothing."""
    job, channel, by = site.job, site.channel, site.fault.cavities_on
    connector = connector_of(job.channel(channel).cavity)
    wires = wires_shifted(job, connector, by)
    onto = next((there for there, source in wires.items() if source == channel), None)
    opens = onto is not None and (_is_input(job, channel) or not _loses_its_feed(job, channel, connector))
    pull = _OPENS_ANOTHER if opens else _OPENS_NOTHING
    found = _seen(site, before, wires[channel], onto, connector)
    return replace(found, odds=replace(found.odds, pull=pull))


def _seen(
    site: Site, before: FaultyChannel, source: int | None, onto: int | None, connector: str
) -> FaultyChannel:
    job = site.job
    if site.channel in feeds_shifted(job, connector, site.fault.cavities_on):
        return replace(before, odds=before.odds.under(SHORTED), low=True)
    if source is None:
        return seeing_nothing(before)
    found = seeing(site, before, job.load_type(source), onto)
    if not _loses_its_feed(job, source, connector):
        return found
    if not _is_input(job, source):
        return seeing_nothing(found)
    return replace(found, odds=replace(found.odds, noticed=DEAD))


def _is_input(job: Job, channel: int) -> bool:
    return job.load_type(channel).kind in LOGIC_KINDS


def _loses_its_feed(job: Job, channel: int, connector: str) -> bool:
    """Whether what supplies a load enters by the same connector, and so is one cavity on as well."""
    feed = job.feed_of(channel)
    return feed is not None and feed.cavity is not None and connector_of(feed.cavity) == connector


SHIFTED = FaultDefinition(
    kind=FaultKind.SHIFTED,
    scope=Scope.CONNECTOR,
    prior=1e-3,
    name="every wire sits one cavity on",
    advice=Advice(
        likely="the plug is seated one cavity on, or its pins were counted from the wrong end or cavity",
        remedy="switch the supply off, unplug the header and compare its first and last cavity with the job; then "
        "look at the whole loom again before anything is driven",
        next_measurement="pull the connectors at the first and the last load, and see which outputs let go",
    ),
    order=0,
    odds=OddsTable(),
    effect=_effect,
    separated_by={
        FaultKind.SWAPPED: "pull the connectors at the first and the last load: in a ring the last answers at the first "
        "output, in a row that is one cavity on it answers nowhere",
        FaultKind.FEED_OPEN: "look at which cavity the first wire of the header sits in",
        FaultKind.FEED_WEAK: "look at which cavity the first wire of the header sits in",
    },
)
