"""The wiggle test at will: channels watched in turn while a hand goes along the loom, each dropout with its place.

A box watches one channel at a time, so several take turns, a slice each; what lets go on another one meanwhile is
not seen, and the state says which is watched. A held load is driven: under its interlocks, armed, within its
budget, and resting between slices so that its duty is kept. Sensed ones are not driven at all.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from loomproof.facts.approved_drive import ApprovedDrive
from loomproof.facts.drive import HoldRequest
from loomproof.facts.evidence import ChannelEvidence
from loomproof.facts.kinds import HazardClass
from loomproof.facts.record import EventKind
from loomproof.facts.step import StepEnd, StepKind
from loomproof.procedure.context import Core
from loomproof.procedure.conversion import scan_of
from loomproof.procedure.drive.actuate import armed
from loomproof.procedure.drive.first_pulse import first_pulses
from loomproof.procedure.drive.rest import owing_rest, wait_for_rest
from loomproof.procedure.step import RunSheet, Step
from loomproof.procedure.step_end import carry_out
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.procedure.step_result import StepResult
from loomproof.procedure.walk.scan import rests_away
from loomproof.procedure.wiggle.model import Said, Seen, Wiggler, WiggleResult, WiggleState
from loomproof.safety.approve import NotPermittedError, approve
from loomproof.safety.interlocks import Blocked
from loomproof.safety.statements import hazards_of
from loomproof_wire import messages

SLICE_MS = 2000
"""How long one of several channels is watched before it is the next one's turn."""
ALONE_MS = 5000
SAMPLE_HZ = 5000
HELD_DEPTH_PERMILLE = 200
SENSED_DEPTH_PERMILLE = 300
MOST_DROPOUTS = 2000
SHORTEST_REST_S = 0.2
SHORTEST_HOLD_MS = 300
NEVER_HELD = (HazardClass.FUEL, HazardClass.SPARK, HazardClass.CRANK)
"""Nobody holds an injector, a coil or a starter on to bend a loom."""


Finish = Callable[[Step, float, StepResult], StepOutcome]


class WiggleTest:
    """One wiggle test at will.

    Args:
        core: the session's.
        sheet: its run sheet; the result is written as its wiggle tests.
        outcomes: what is known from before.
        finish: writes a step's result into the record.
        wiggler: who bends the loom.
        channels: to be watched, one or several.
        held: the loads are held on; else only resting pins are watched.

    Raises:
        ValueError: no channel, one without a load, one that must not be held, or a pin that shows nothing.
        NotPermittedError: a held load lacks a statement.
    """

    def __init__(
        self,
        core: Core,
        sheet: RunSheet,
        outcomes: Iterable[StepOutcome],
        finish: Finish,
        wiggler: Wiggler,
        *,
        channels: Sequence[int],
        held: bool,
    ) -> None:
        self._core, self._sheet, self._finish, self._wiggler = core, sheet, finish, wiggler
        self._outcomes = tuple(outcomes)
        self._held = held
        self._channels = tuple(dict.fromkeys(channels))
        self._seen: list[Seen] = []
        self._spans: list[tuple[int, float, float]] = []
        self._hand = ""
        self._enough = False
        self._watching: int | None = None
        self._since_s = core.box.now_s()
        self._began_s = core.box.now_s()
        self._check()

    def run(self) -> WiggleResult:
        """Watch in turns until the operator has enough, or something ends it."""
        end, reason = carry_out(self._core, self._take_turns)
        self._watching = None
        self._write()
        self._tell(())
        return WiggleResult(tuple(self._seen), self._watched_s(), end, reason)

    # --- before it begins ---------------------------------------------------------------------------------

    def _check(self) -> None:
        core = self._core
        if not self._channels:
            raise ValueError("choose a channel to watch")
        for channel in self._channels:
            if not core.job.channel(channel).fitted:
                raise ValueError(f"channel {channel} has no load fitted")
        if self._held:
            self._check_held()
            return
        resting = scan_of(core.box.scan(self._channels, 0), core.calibrations)
        mute = [str(c) for c in self._channels if not rests_away(resting[c])]
        if mute:
            raise ValueError(
                f"channel {', '.join(mute)} shows no load at rest, so a break would not be seen; hold it instead"
            )

    def _check_held(self) -> None:
        conditions = self._core.conditions
        for channel in self._channels:
            for budget in conditions.budgets((channel,)):
                load, limit = conditions.job.load_type(budget.channel), budget.binding("hold_ms")
                if any(hazard in NEVER_HELD for hazard in hazards_of(load)):
                    raise ValueError(f"channel {channel} must not be held on ({load.name}); watch it at rest")
                if limit.value < SHORTEST_HOLD_MS:
                    raise ValueError(
                        f"channel {channel} cannot be held on for long enough ({load.name}): {limit.reason} "
                        "Let it cool, or watch it at rest"
                    )
        permit = conditions.permit(self._channels)
        if isinstance(permit, Blocked):
            raise NotPermittedError(permit)

    # --- watching -----------------------------------------------------------------------------------------

    def _take_turns(self) -> None:
        for channel in itertools.cycle(self._channels):
            if self._enough:
                return
            self._slice(channel)

    def _slice(self, channel: int) -> None:
        core = self._core
        core.check()
        wanted_ms = SLICE_MS if len(self._channels) > 1 else ALONE_MS
        if not self._held:
            self._watch(channel, wanted_ms)
            return
        wait_for_rest(core, (channel,))
        core.look_at_supply()
        request = HoldRequest(channel=channel, duration_ms=min(wanted_ms, self._cooled_for_ms(channel)))
        approved = approve(request, core.conditions)
        first_pulses(core, (channel,))
        if self._enough:
            return
        core.mark(approved)
        with armed(core, approved), owing_rest(core, request):
            self._watch(channel, request.duration_ms, approved)
        self._rest(channel, request.duration_s)

    def _cooled_for_ms(self, channel: int) -> int:
        """How long a load may be held now; rests until that is worth it, for slice upon slice warms it."""
        core = self._core
        while True:
            room_ms = min(
                core.conditions.budget(reached).max_hold_ms
                for reached in core.conditions.loads_reached((channel,))
            )
            if room_ms >= SHORTEST_HOLD_MS or self._enough:
                return room_ms
            core.box.sleep(SHORTEST_REST_S)
            core.check()
            self._listen()

    def _watch(
        self, channel: int, duration_ms: int, approved: ApprovedDrive[HoldRequest] | None = None
    ) -> None:
        core = self._core
        began_s = core.box.now_s()
        self._watching, self._since_s = channel, began_s
        self._listen()
        self._tell(())
        try:
            watch = (
                core.box.watch(
                    channel,
                    duration_ms=duration_ms,
                    sample_hz=SAMPLE_HZ,
                    depth_permille=SENSED_DEPTH_PERMILLE,
                )
                if approved is None
                else core.box.watch_held(approved, sample_hz=SAMPLE_HZ, depth_permille=HELD_DEPTH_PERMILLE)
            )
            with watch as run:
                for dropout in run:
                    self._take(dropout, began_s)
                    if self._enough or len(self._seen) >= MOST_DROPOUTS:
                        self._enough = True
                        break
        finally:
            self._watching = None
            self._spans.append((channel, began_s, core.box.now_s()))
        core.check()
        self._tell(())
        self._listen()

    def _take(self, dropout: messages.Dropout, began_s: float) -> None:
        self._listen()
        seen = Seen(
            dropout.channel,
            began_s + dropout.start_us * 1e-6,
            dropout.length_us,
            dropout.depth_permille,
            self._hand,
        )
        self._seen.append(seen)
        ms = seen.length_us / 1000
        where = f", hand {seen.hand}" if seen.hand else ""
        self._core.note(
            EventKind.DROPOUT,
            f"Channel {seen.channel} let go for {ms:g} ms by {seen.depth_permille / 10:g} %{where}.",
            channel=seen.channel,
            **{key: value for key, value in seen.as_dict().items() if key != "channel"},
        )
        self._core.write_events()
        self._tell((seen,))

    def _rest(self, channel: int, held_s: float) -> None:
        """Let a held load cool: its duty is kept over slice and rest."""
        core = self._core
        duty = (
            min(
                core.conditions.budget(c).max_duty_permille for c in core.conditions.loads_reached((channel,))
            )
            / 1000
        )
        rest_s = max(SHORTEST_REST_S, held_s * (1.0 / duty - 1.0) / len(self._channels))
        self._tell(())
        until_s = core.box.now_s() + rest_s
        while core.box.now_s() < until_s and not self._enough:
            core.box.sleep(min(SHORTEST_REST_S, until_s - core.box.now_s()))
            core.check()
            self._listen()

    def _listen(self) -> None:
        while not self._enough and (said := self._wiggler.poll()) is not None:
            if said.enough:
                self._enough = True
            elif said.number is None:
                self._hand = said.hand
            elif 0 <= said.number < len(self._seen):
                self._seen[said.number] = replace(self._seen[said.number], hand=said.hand)

    def _tell(self, fresh: tuple[Seen, ...]) -> None:
        state = WiggleState(
            channels=self._channels,
            held=self._held,
            began_s=self._began_s,
            now_s=self._core.box.now_s(),
            watching=self._watching,
            watching_since_s=self._since_s,
            seen=tuple(self._seen),
            spans=tuple(self._spans),
            hand=self._hand,
        )
        self._wiggler.told(state, fresh)

    # --- the record ---------------------------------------------------------------------------------------

    def _watched_s(self) -> dict[int, float]:
        total: dict[int, float] = {}
        for channel, since_s, until_s in self._spans:
            total[channel] = total.get(channel, 0.0) + until_s - since_s
        return total

    def _write(self) -> None:
        """As the wiggle tests of the run sheet; what they knew of other channels is kept."""
        watched_s = self._watched_s()
        for step in self._sheet.steps:
            own = [c for c in step.channels if c in watched_s]
            if step.kind is not StepKind.WIGGLE or not own:
                continue
            result = StepResult()
            result.evidence.update(self._kept(step))
            for channel in own:
                count = sum(seen.channel == channel for seen in self._seen)
                result.evidence[channel] = ChannelEvidence(channel, dropouts=count, watched=True)
            rows = [seen.as_dict() for seen in self._seen if seen.channel in own]
            result.measured["dropouts"] = rows
            result.measured["watched_s"] = {str(c): round(watched_s[c], 1) for c in own}
            how = "held on" if self._held else "at rest"
            seconds = ", ".join(f"channel {c} for {watched_s[c]:.0f} s" for c in own)
            result.notes.append(f"Watched {how}: {seconds}; {len(rows)} dropouts.")
            self._finish(step, self._began_s, result)
        self._core.write_events()

    def _kept(self, step: Step) -> dict[int, ChannelEvidence]:
        for outcome in reversed(self._outcomes):
            if outcome.step_id == step.id and outcome.end is StepEnd.DONE:
                return {item.channel: item for item in outcome.evidence}
        return {}


__all__ = ["Said", "Seen", "WiggleResult", "WiggleState", "WiggleTest", "Wiggler"]
