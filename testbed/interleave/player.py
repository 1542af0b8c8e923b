"""Plays steps on a box and judges them; a walk that breaks a rule is shrunk before it is shown."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from loomproof_wire import messages as wire
from loomproof_wire.frames import BadFrame, FrameReader, decode, encode_frame
from testbed.interleave.boxes import SearchedBox
from testbed.interleave.walk import Step, episode_of
from testbed.interleave.watcher import MS, ViolationError, Watcher

LOOK_NS = 10 * MS
"""The longest that time passes unjudged."""
LEAST_SUPPLY_V = 6


class Player:
    """Plays steps on a box and watches it.

    Args:
        box: the box, which is powered down and up.
    """

    def __init__(self, box: SearchedBox) -> None:
        box.restart()
        box.switches(), box.take_output()
        self.box = box
        self.watcher = Watcher(box.slack)
        self._reader = FrameReader()
        self._number = 0
        self._session = 1
        self._sent: list[tuple[int, Any, bytes]] = []
        self._resets = box.resets()

    def play(self, step: Step) -> None:
        """Do one step and judge what it led to.

        Raises:
            ViolationError: a rule was broken.
        """
        name, value = step
        if name in ("send", "again", "wait", "beats", "poll"):
            self._bytes_and_time(name, value)
        else:
            self._hand(name, value)
        self.look()

    def _bytes_and_time(self, name: str, value: Any) -> None:  # noqa: ANN401 - a step's own value
        match name:
            case "send":
                for message in value:
                    self._send(message)
            case "again" if self._sent:
                self._deliver(*self._sent[-1 - value % len(self._sent)])
            case "wait":
                self._wait(value)
            case "beats":
                for _ in range(value):
                    self._send(wire.Heartbeat(self._session))
                    self._wait(90 * MS)
            case "poll":
                for _ in range(value):
                    self.box.poll()

    def _hand(self, name: str, value: Any) -> None:  # noqa: ANN401 - a step's own value
        watcher, box = self.watcher, self.box
        match name:
            case "press":
                box.set_stop_input(value)
                watcher.hand("the stop input closed", box.now_ns, bars=value)
            case "supply":
                box.set_supply(value)
                watcher.hand("a good supply", box.now_ns, bars=value < LEAST_SUPPLY_V)
            case "load":
                box.set_load(*value)
            case "hold":
                box.hold(value)
                watcher.timers_dead |= value and box.slack.holds
                watcher.hung |= value and box.slack.hold_hangs
            case "ticks_die":
                box.ticks_die()
                watcher.timers_dead = True
            case "converter_sticks":
                box.converter_sticks()

    def look(self) -> None:
        """Judge what came since the last look."""
        replies = []
        for frame in self._reader.feed(self.box.take_output()):
            if isinstance(frame, BadFrame):
                raise ViolationError("the box sent what is no frame", 0, self.box.now_ns)
            replies.append((frame.sequence, decode(frame)))
        resets = self.box.resets()
        self.watcher.shown(replies, self.box.switches(), self.box.now_ns)
        if resets != self._resets:
            self._resets = resets
            self.watcher.reset(self.box.now_ns)

    def _wait(self, ns: int) -> None:
        end_ns = self.box.now_ns + ns
        while self.box.now_ns < end_ns:
            self.box.advance_to(min(end_ns, self.box.now_ns + LOOK_NS))
            self.look()

    def _send(self, message: wire.Message) -> None:
        if isinstance(message, wire.Heartbeat):
            self._deliver(0, message, encode_frame(0, message))
            return
        following = (self._number + 1) & 0xFFFF
        if not isinstance(message, wire.Stop):
            self._number = following
            self.watcher.numbered_anew(following)
        if isinstance(message, wire.Hello):
            self._session = message.session
        raw = encode_frame(following, message)
        self._sent.append((following, message, raw))
        self._deliver(following, message, raw)

    def _deliver(self, number: int, message: wire.Message, raw: bytes) -> None:
        self.look()
        self.watcher.sending(number, message, self.box.now_ns)
        self.box.receive(raw)
        self.look()


@dataclass(frozen=True)
class Found:
    """A rule that was broken, and the shortest way to it."""

    rule: str
    text: str
    steps: tuple[Step, ...]

    def __str__(self) -> str:
        return "\n".join([self.text, *(f"    {step}," for step in self.steps)])


@dataclass
class Tally:
    """What a search did."""

    steps: int = 0
    accepted: int = 0
    energised: int = 0
    resets: int = 0


def play(box: SearchedBox, steps: Sequence[Step], tally: Tally | None = None) -> ViolationError | None:
    """Play steps from power-up; return the rule that they broke, if any."""
    player = Player(box)
    try:
        for step in steps:
            player.play(step)
        player.play(("wait", 700 * MS))  # however it ends: silence is enough to have everything off
    except ViolationError as broken:
        return broken
    finally:
        if tally is not None:
            tally.steps += len(steps) + 1
            tally.accepted += player.watcher.accepted
            tally.energised += player.watcher.energised
            tally.resets += box.resets()
    return None


def search(
    box: SearchedBox, seed: int, steps: int, tally: Tally | None = None, *, shrink: bool = True
) -> Found | None:
    """Walk at random; return the first rule broken, with its steps shrunk.

    Args:
        box: the box.
        seed: the same seed walks the same way.
        steps: how many steps, in episodes that each begin with a power-up.
        tally: counts what was done.
        shrink: leave out of the steps what is not needed.
    """
    tally = Tally() if tally is None else tally
    episode = 0
    end = tally.steps + steps
    while tally.steps < end:
        walked = episode_of(seed, episode)
        broken = play(box, walked, tally)
        if broken is not None:
            found = Found(broken.rule, str(broken), tuple(walked))
            return shrunk(box, walked, broken.rule) if shrink else found
        episode += 1
    return None


def shrunk(box: SearchedBox, steps: Sequence[Step], rule: str) -> Found:
    """Leave out whatever is not needed to break the same rule."""
    kept = list(steps)
    size = len(kept) // 2
    while size:
        at = 0
        while at < len(kept):
            fewer = kept[:at] + kept[at + size :]
            broken = play(box, fewer)
            if broken is not None and broken.rule == rule:
                kept = fewer
            else:
                at += size
        size //= 2
    broken = play(box, kept)
    return Found(rule, str(broken), tuple(kept))
