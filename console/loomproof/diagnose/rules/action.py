"""Verdicts on what a load does, where it is, and whether its path holds."""

from __future__ import annotations

from loomproof.diagnose.observed.extract import current_fall
from loomproof.diagnose.observed.features import NOTICED_TEXT, Conduct
from loomproof.diagnose.rules.case import ChannelCase
from loomproof.facts.evidence import Noticed
from loomproof.facts.kinds import LoadKind
from loomproof.facts.signature import HasMoved
from loomproof.facts.verdict import Property, PropertyVerdict, Verdict
from loomproof.job.load_traits import FILAMENT_KINDS, INRUSH_KINDS


def judge_action(case: ChannelCase) -> PropertyVerdict | None:
    """Whether the load does what it is for: by its current, else by what was noticed."""
    about, noticed = Property.ACTION, case.features.noticed
    if case.signature is None and noticed is Noticed.NOT_ASKED:
        return case.say(about, Verdict.NOT_TESTED, "it was not driven")
    if case.features.conduct in {Conduct.NONE, Conduct.EXCESS}:
        return case.say(about, Verdict.FAIL, "its circuit is not sound, so it cannot act")
    if case.load.moves:
        return _moving_action(case)
    if case.load.kind in INRUSH_KINDS and case.signature is not None:
        return _current_action(case)
    if noticed in {Noticed.HEARD, Noticed.SEEN}:
        return case.say(about, Verdict.PASS, NOTICED_TEXT[noticed])
    if noticed is Noticed.NOTHING:
        if case.load.kind is LoadKind.STEPPER:
            reason = "nothing was noticed: one winding alone moves little, but all in turn run the spindle"
            return case.say(about, Verdict.UNSURE, f"{reason}; are two of them exchanged?")
        return case.say(
            about, Verdict.UNSURE, "nothing was noticed, and its current does not show its action"
        )
    return case.say(about, Verdict.NOT_TESTED, "its current does not show its action, and nobody was asked")


def _moving_action(case: ChannelCase) -> PropertyVerdict:
    about, noticed = Property.ACTION, case.features.noticed
    moved = case.features.moved or HasMoved.CANNOT_TELL
    seen = noticed in {Noticed.HEARD, Noticed.SEEN}
    source = "dip in the current"
    if moved is HasMoved.YES:
        when = case.signature.move_time_s if case.signature else None
        at = f" {when.value * 1e3:.2f} ms after switching on" if when else ""
        return case.say(about, Verdict.PASS, f"the current dips as the armature lands{at}", source)
    if moved is HasMoved.NO:
        if seen:
            reason = f"no dip in the current, yet {NOTICED_TEXT[noticed]}: was it this load?"
            return case.say(about, Verdict.UNSURE, reason, source)
        return case.say(
            about, Verdict.FAIL, "the current shows no landing: the armature does not move", source
        )
    if seen:
        return case.say(about, Verdict.PASS, f"{NOTICED_TEXT[noticed]}; the current alone cannot tell")
    note = "nobody was asked" if noticed is Noticed.NOT_ASKED else NOTICED_TEXT[noticed]
    return case.say(about, Verdict.UNSURE, f"the current cannot tell whether it moved, and {note}", source)


def _current_action(case: ChannelCase) -> PropertyVerdict:
    about, noticed = Property.ACTION, case.features.noticed
    inrush, steady = case.features.inrush, case.features.steady
    if inrush is None or steady is None or steady.value <= 0.0:
        if noticed in {Noticed.HEARD, Noticed.SEEN}:
            return case.say(about, Verdict.PASS, NOTICED_TEXT[noticed])
        return case.say(about, Verdict.UNSURE, "inrush and steady current were not both seen")
    fall, acts = current_fall(inrush, steady)
    if acts is HasMoved.YES:
        what = "the filament heats up" if case.load.kind in FILAMENT_KINDS else "the motor turns"
        return case.say(about, Verdict.PASS, f"the current falls to 1/{fall:.1f} of its inrush: {what}")
    if acts is HasMoved.NO:
        if noticed in {Noticed.HEARD, Noticed.SEEN}:
            reason = f"the current stays at its inrush, yet {NOTICED_TEXT[noticed]}"
            return case.say(about, Verdict.UNSURE, reason)
        return case.say(about, Verdict.FAIL, "the current stays at its inrush: nothing heats up or turns")
    return case.say(about, Verdict.UNSURE, f"the current falls only to 1/{fall:.1f} of its inrush")


def judge_location(case: ChannelCase) -> PropertyVerdict | None:
    """Whether the load is at the place that the job names: by its pulled connector."""
    about, pull = Property.LOCATION, case.features.pull
    if pull is None or pull.outcome == "skipped":
        return case.say(about, Verdict.NOT_TESTED, "its connector was not pulled")
    if pull.outcome == "matched":
        return case.say(about, Verdict.PASS, "pulling its connector opened this channel and no other")
    if pull.outcome == "other":
        named = ", ".join(str(c) for c in pull.moved_channels)
        return case.say(about, Verdict.FAIL, f"pulling its connector opened channel {named} instead")
    if pull.outcome == "several":
        named = ", ".join(str(c) for c in pull.moved_channels)
        return case.say(about, Verdict.FAIL, f"pulling its connector changed several channels: {named}")
    return case.say(about, Verdict.UNSURE, "pulling its connector changed nothing that the box can see")


def judge_contact(case: ChannelCase) -> PropertyVerdict | None:
    """Whether the path holds while the loom is flexed; None where no wiggle test was asked for."""
    about, dropouts = Property.CONTACT, case.features.dropouts
    if dropouts:
        times = "once" if dropouts == 1 else f"{dropouts} times"
        return case.say(about, Verdict.FAIL, f"it let go {times} while the loom was flexed: a contact opens")
    if case.own.watched:
        return case.say(about, Verdict.PASS, "it held while the loom was flexed")
    if case.own.unwatchable:
        reason = "its pin shows no load at rest, so nothing could be watched while the loom was flexed"
        return case.say(about, Verdict.NOT_TESTED, reason)
    return None
