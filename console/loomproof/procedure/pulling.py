"""The pull check: the operator pulls a connector, and the box tells which channels lost their load."""

from __future__ import annotations

from collections.abc import Callable

from loomproof.diagnose import ChannelEvidence, PullResult
from loomproof.diagnose.evidence import PullOutcome
from loomproof.procedure.core import Core, StepInterruptedError, StepResult
from loomproof.procedure.events import LoadsPresent, PromptAnswered, PromptPut
from loomproof.procedure.model import Step, StepEnd
from loomproof.procedure.prompts import Answer, Choice, Prompt, PromptKind
from loomproof.procedure.readings import scan_of
from loomproof.procedure.recognise import PullWatch, Scan, learn

SCAN_INTERVAL_S = 0.1
SENSE_US = 60
LEARNING_SCANS = 3
SETTLING_SCANS = 3
"""Scans after the first loss, so that all channels of one connector are seen."""
GRACE_S = 1.0
"""How long the box goes on looking after the operator says it is pulled, or seated."""
PATIENCE_S = 600.0


def run_pull(core: Core, step: Step, result: StepResult) -> None:
    """Learn the loom as it is, watch the pull, watch the seating, and say what happened."""
    watcher = Watcher(core)
    watch = watcher.watch
    blind = tuple(c for c in step.channels if not watch.templates[c].usable)
    if len(blind) == len(step.channels):
        explain_blind(core, step, result, blind)
        return
    answer = _follow(core, watcher, _pull_prompt(core, step), lambda: bool(watch.lost))
    if answer is not None and answer.choice is Choice.SKIP:
        result.skipped_reason = answer.note or "skipped by the operator"
        raise StepInterruptedError(StepEnd.SKIPPED, result.skipped_reason)
    for _ in range(SETTLING_SCANS):
        watcher.look()
    lost = tuple(sorted(watch.ever_lost))
    if lost:
        _follow(core, watcher, _seat_prompt(core, step), lambda: not watch.lost)
        for channel in sorted(watch.lost):
            name = core.job.channel(channel).name
            result.problems.append(f"channel {channel} ({name}) has not got its load back")
    else:
        # Nothing was recognised, but a connector may be in somebody's hand: have it seated again.
        core.ask(_seat_prompt(core, step))
    conclude_pull(step, result, lost, blind)


def conclude_pull(step: Step, result: StepResult, lost: tuple[int, ...], blind: tuple[int, ...]) -> None:
    """Turn what a pull moved into the evidence of each channel the step is about."""
    for channel in step.channels:
        if channel in blind and channel not in lost:
            continue
        pull = PullResult(channel, lost, judge_pull(channel, step.channels, lost))
        result.evidence[channel] = ChannelEvidence(channel, pull=pull)
    pulls = [item.pull for item in result.evidence.values() if item.pull is not None]
    worst = ("several", "other", "none", "matched")
    result.pull = min(pulls, key=lambda pull: worst.index(pull.outcome))
    result.measured["lost"] = list(lost)
    if blind:
        names = ", ".join(str(channel) for channel in blind)
        result.problems.append(f"channel {names} shows no load that could be seen to go")


def judge_pull(channel: int, expected: tuple[int, ...], lost: tuple[int, ...]) -> PullOutcome:
    """What a pull says of one channel: `expected` share the connector, `lost` lost their load."""
    strangers = [c for c in lost if c not in expected]
    if channel in lost:
        return "several" if strangers else "matched"
    if not strangers:
        return "none"
    return "other" if len(strangers) == 1 else "several"


def shows_load(core: Core, channel: int) -> bool:
    """Whether the pin rests where its load holds it, so that a break can be watched for without driving."""
    scan = scan_of(core.box.scan((channel,), 0), core.calibrations)
    return learn([scan])[channel].span_v is not None


def explain_blind(core: Core, step: Step, result: StepResult, blind: tuple[int, ...]) -> None:
    """No channel of this connector shows a load: nothing can be recognised, so it is not asked for."""
    names = ", ".join(core.job.channel(channel).name for channel in blind)
    reason = (
        f"{names}: at rest the pin does not show its load and no sense pulse is allowed or sees one, so a "
        "pulled connector would look the same. Prove the place by watching the load when it is driven."
    )
    result.notes.append(reason)
    for channel in step.channels:
        result.evidence[channel] = ChannelEvidence(channel, pull=PullResult(channel, (), "skipped"))
    result.pull = PullResult(step.channels[0], (), "skipped")


class Watcher:
    """Scans for a pull check. Pins are read at rest; only the mute ones get sense pulses."""

    def __init__(self, core: Core) -> None:
        self._core = core
        fitted = [entry.channel for entry in core.job.channels if entry.fitted]
        self._mute: tuple[int, ...] = ()
        self._channels = tuple(c for c in sorted(core.calibrations) if c in fitted)
        templates = learn(self._scan() for _ in range(LEARNING_SCANS))
        self._mute = tuple(c for c, template in templates.items() if not template.usable)
        if self._mute:
            templates.update(learn(self._sensed() for _ in range(LEARNING_SCANS)))
        self.watch = PullWatch(templates)
        self._mute = tuple(c for c in self._mute if templates[c].usable)

    def look(self) -> None:
        """Wait for the next scan and take it in."""
        self._core.box.sleep(SCAN_INTERVAL_S)
        if self.watch.feed(self._scan()):
            usable = {c for c, template in self.watch.templates.items() if template.usable}
            lost = self.watch.lost
            self._core.publish(LoadsPresent(tuple(sorted(usable - lost)), tuple(sorted(lost))))

    def _scan(self) -> Scan:
        core = self._core
        core.check()
        core.box.call_in()
        seen = scan_of(core.box.scan(self._channels, 0), core.calibrations)
        return {**seen, **self._sensed()} if self._mute else seen

    def _sensed(self) -> Scan:
        return scan_of(self._core.box.scan(self._mute, SENSE_US), self._core.calibrations)


def _follow(core: Core, watcher: Watcher, prompt: Prompt, happened: Callable[[], bool]) -> Answer | None:
    """Watch until it has happened or the operator answers; None when it was recognised.

    Raises:
        StepInterruptedError: the operator leaves, nobody does anything, or everything is stopped.
    """
    core.publish(PromptPut(prompt))
    core.operator.show(prompt)
    answer: Answer | None = None
    began_s = core.box.now_s()
    until_s = began_s + PATIENCE_S
    try:
        while not happened():
            watcher.look()
            if answer is None:
                answer = core.operator.poll(prompt)
                if answer is not None:
                    if answer.choice in (Choice.SKIP, Choice.LEAVE):
                        break
                    until_s = core.box.now_s() + GRACE_S
            if core.box.now_s() >= until_s:
                break
    finally:
        core.operator.withdraw(prompt)
        core.publish(PromptAnswered(prompt, answer))
    core.check()
    if answer is not None and answer.choice is Choice.LEAVE:
        raise StepInterruptedError(StepEnd.LEFT, "left by the operator")
    if answer is None and not happened():
        raise StepInterruptedError(StepEnd.LEFT, f"nothing was pulled in {PATIENCE_S / 60:g} minutes")
    return answer


def _pull_prompt(core: Core, step: Step) -> Prompt:
    where = core.job.location_of(step.channels[0])
    place = "" if where is None or not where.place else f" ({where.place})"
    return core.prompt(
        PromptKind.PULL,
        step.id,
        step.title,
        f"Pull that connector{place} now. The box sees by itself when it is off.",
        choices=(Choice.PULLED, Choice.SKIP, Choice.LEAVE),
        cautions=step.cautions,
        channel=step.channel,
        channels=step.channels,
        location=step.location,
    )


def _seat_prompt(core: Core, step: Step) -> Prompt:
    return core.prompt(
        PromptKind.SEAT,
        step.id,
        step.title.replace("Pull", "Seat", 1),
        "Seat it again until it locks. The box sees by itself when the load is back.",
        choices=(Choice.SEATED, Choice.LEAVE),
        channel=step.channel,
        channels=step.channels,
        location=step.location,
    )
