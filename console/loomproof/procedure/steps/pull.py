"""The pull check: the operator pulls a connector, and the box tells which channels lost their load."""

from __future__ import annotations

from collections.abc import Callable

from loomproof.facts.drive import BridgeRequest
from loomproof.facts.step import StepEnd
from loomproof.procedure.context import Core
from loomproof.procedure.events import LoadsPresent, PromptAnswered, PromptPut
from loomproof.procedure.prompts import Answer, Choice, Prompt, PromptKind
from loomproof.procedure.step import Step
from loomproof.procedure.step_result import StepInterruptedError, StepResult
from loomproof.procedure.steps.driven_look import driven_pair, driven_pull
from loomproof.procedure.steps.pull_verdict import conclude_pull, explain_blind
from loomproof.procedure.steps.statement import ensure_harmless
from loomproof.procedure.walk.scan import PERIOD_S, Eyes
from loomproof.safety.approve import NotPermittedError

SETTLING_SCANS = 3
"""Scans after the first loss, so that all channels of one connector are seen."""
GRACE_S = 1.0
"""How long the box goes on looking after the operator says it is pulled, or seated."""
PATIENCE_S = 600.0


def run_pull(core: Core, step: Step, result: StepResult) -> None:
    """Learn the loom as it is, watch the pull, watch the seating, and say what happened."""
    watcher = _watcher(core, step)
    blind = tuple(c for c in step.channels if c in watcher.blind)
    own = driven_pair(core.job, step.channels)
    if own is not None and set(own.channels) <= set(blind):
        _pull_driven(core, step, result, watcher, own)
        return
    if len(blind) == len(step.channels):
        explain_blind(core, step, result, blind)
        return
    answer = _follow(core, watcher, _pull_prompt(core, step), lambda: bool(watcher.lost))
    result.skip_if_asked(answer)
    for _ in range(SETTLING_SCANS):
        watcher.look()
    lost = tuple(sorted(watcher.ever_lost))
    if lost:
        _follow(core, watcher, _seat_prompt(core, step), lambda: not watcher.lost)
        for channel in sorted(watcher.lost):
            name = core.job.channel(channel).name
            result.problems.append(f"channel {channel} ({name}) has not got its load back")
    else:
        # Nothing was recognised, but a connector may be in somebody's hand: have it seated again.
        core.ask(_seat_prompt(core, step))
    conclude_pull(step, result, lost, blind)


def _pull_driven(core: Core, step: Step, result: StepResult, watcher: Watcher, own: BridgeRequest) -> None:
    """The same by the load's own drives; the other channels are looked at between them."""
    went = driven_pull(core, step, result, own, watcher.look)
    if went is None:
        explain_blind(core, step, result, step.channels)
        return
    lost = watcher.ever_lost | (set(own.channels) if went else set())
    conclude_pull(step, result, tuple(sorted(lost)), ())


def _watcher(core: Core, step: Step) -> Watcher:
    """A watcher that knows the loom; where pins have to be pulsed for that, after the statement that they may be."""
    try:
        return Watcher(core)
    except NotPermittedError:
        ensure_harmless(core, step)
        return Watcher(core)


class Watcher:
    """Follows one pull check: which channels are without their load, and which ever were."""

    def __init__(self, core: Core) -> None:
        self._core = core
        self._eyes = Eyes(core)
        self._eyes.learn()
        self.lost: frozenset[int] = frozenset()
        self.ever_lost: frozenset[int] = frozenset()

    @property
    def blind(self) -> frozenset[int]:
        """Channels whose load cannot be seen to go."""
        return self._eyes.detector.blind

    def look(self) -> None:
        """Wait for the next scan and take it in."""
        self._core.box.sleep(PERIOD_S)
        lost = self._eyes.look().lost
        if lost != self.lost:
            seen = frozenset(self._eyes.channels) - self.blind
            self._core.publish(LoadsPresent(tuple(sorted(seen - lost)), tuple(sorted(lost))))
        self.lost = lost
        self.ever_lost |= lost


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
