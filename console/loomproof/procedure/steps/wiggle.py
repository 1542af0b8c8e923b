"""The wiggle test: the operator flexes the loom while the box watches a resting pin for contacts that let go.

Nothing is driven and nothing is armed: a load at rest holds its pin at one of the rails, and a contact
that opens lets it go to the bias between them. It sees breaks in the whole path of feed, load and wire,
but only while they last some samples.
"""

from __future__ import annotations

from loomproof.facts.drive import BridgeRequest
from loomproof.facts.evidence import ChannelEvidence
from loomproof.facts.record import EventKind
from loomproof.procedure.context import Core
from loomproof.procedure.prompts import Choice, PromptKind
from loomproof.procedure.step import Step
from loomproof.procedure.step_result import StepResult
from loomproof.procedure.steps.driven_look import (
    FLEXED_PULSES,
    SHORT_MS,
    ask_ready,
    driven_pair,
    driven_watch,
)
from loomproof.procedure.walk.scan import shows_load
from loomproof.procedure.wiggle.model import Seen
from loomproof_wire import messages

WATCH_MS = 3000
WATCHES = 6
SAMPLE_HZ = 5000
DEPTH_PERMILLE = 300
"""A dropout takes this much off the pin's distance from its bias; without its load nothing is left of it."""
MOST_DROPOUTS = 200


def run_wiggle(core: Core, step: Step, result: StepResult) -> None:
    """Ask for the flexing, then watch each channel of the connector in turn."""
    seen = tuple(channel for channel in step.channels if shows_load(core, channel))
    own = driven_pair(core.job, step.channels)
    if own is not None and not set(own.channels) & set(seen):
        _flex_driven(core, step, result, own)
    else:
        own = None
    driven = own.channels if own is not None else ()
    blind = [str(channel) for channel in step.channels if channel not in (*seen, *driven)]
    if blind:
        result.notes.append(f"Channel {', '.join(blind)} is not watched: its pin shows no load at rest.")
        for channel in step.channels:
            if channel not in (*seen, *driven):
                result.evidence[channel] = ChannelEvidence(channel, unwatchable=True)
    if not seen:
        return
    _ask(core, step, result)
    for channel in seen:
        core.check()
        dropouts = _watch(core, channel)
        result.evidence[channel] = ChannelEvidence(channel, dropouts=len(dropouts), watched=True)
        longest_ms = max((d.length_us for _, d in dropouts), default=0) / 1000
        result.measured[f"channel {channel}"] = {"dropouts": len(dropouts), "longest_ms": longest_ms}
        rows = result.measured.setdefault("dropouts", [])
        rows += [
            Seen(channel, began_s + d.start_us * 1e-6, d.length_us, d.depth_permille).as_dict()
            for began_s, d in dropouts
        ]
        if dropouts:
            text = f"Channel {channel} let go {len(dropouts)} times, for {longest_ms:g} ms at the longest."
            core.note(EventKind.DROPOUT, text, channel=channel, dropouts=len(dropouts), longest_ms=longest_ms)


def _flex_driven(core: Core, step: Step, result: StepResult, own: BridgeRequest) -> None:
    """Of a load that only its own drive shows: a series of short drives while the loom is flexed."""
    text = f"The load is driven {FLEXED_PULSES} times for {SHORT_MS} ms while you flex the loom."
    ask_ready(core, step, result, text)
    _ask(core, step, result)
    dropouts = driven_watch(core, step, result, own)
    for channel in own.channels:
        if dropouts is None:
            result.learn(channel, unwatchable=True)
        else:
            result.learn(channel, dropouts=dropouts, watched=True)
    result.measured["driven"] = {"channels": list(own.channels), "dropouts": dropouts or 0}
    if dropouts:
        text = f"Channel {own.channels[0]} and {own.channels[1]} let go {dropouts} times while driven."
        core.note(EventKind.DROPOUT, text, channel=own.channels[0], dropouts=dropouts)


def _ask(core: Core, step: Step, result: StepResult) -> None:
    seconds = WATCH_MS / 1000
    many = len(step.channels)
    how_long = f"{seconds:g} s" if many == 1 else f"{seconds:g} s for each of its {many} channels"
    answer = core.ask(
        core.prompt(
            PromptKind.WIGGLE,
            step.id,
            step.title,
            f"Go on, then bend and tug the loom from there to the header, pin by pin, for {how_long}.",
            choices=(Choice.DRIVE, Choice.SKIP, Choice.LEAVE),
            cautions=step.cautions,
            channel=step.channel,
            channels=step.channels,
            location=step.location,
        )
    )
    result.skip_if_asked(answer)


def _watch(core: Core, channel: int) -> list[tuple[float, messages.Dropout]]:
    """Dropouts, each with when its watch began.

    A box learns the undisturbed pin in the first moments of a watch, and a contact that lets go just then blinds it for the
    rest of that watch. So several short ones follow each other, which are not all blinded.
    """
    found: list[tuple[float, messages.Dropout]] = []
    for _ in range(WATCHES):
        core.check()
        began_s = core.box.now_s()
        with core.box.watch(
            channel, duration_ms=WATCH_MS // WATCHES, sample_hz=SAMPLE_HZ, depth_permille=DEPTH_PERMILLE
        ) as run:
            for dropout in run:
                found.append((began_s, dropout))
                if len(found) >= MOST_DROPOUTS:
                    return found
    return found
