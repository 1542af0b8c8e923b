"""Facts that cross from the worker and the box's thread to the interface, as past-tense messages."""

from __future__ import annotations

from dataclasses import dataclass, field

from textual.message import Message

from loomproof.tui.pages.findings.view import FindingEntry
from loomproof.tui.pages.record.view import RecordView
from loomproof.tui.pages.run_sheet.view import StepView
from loomproof.tui.pages.walk.view import WalkView
from loomproof.tui.pages.wiggle.view import WiggleView
from loomproof.tui.views.channel import ChannelView
from loomproof.tui.views.engine import EngineView
from loomproof.tui.views.header import HeaderView
from loomproof.tui.views.panel import PanelView
from loomproof.tui.views.prompt import PromptView
from loomproof.tui.views.trace import TraceView


class PanelChanged(Message):
    """The box reported its state. A newer report replaces one that still waits."""

    def __init__(self, view: PanelView) -> None:
        super().__init__()
        self.view = view

    def can_replace(self, message: Message) -> bool:
        """Only the newest counts."""
        return isinstance(message, PanelChanged)


class PromptRaised(Message):
    """The session asks the operator something; None takes the question away."""

    def __init__(self, prompt: PromptView | None) -> None:
        super().__init__()
        self.prompt = prompt


@dataclass(frozen=True)
class Progress:
    """Everything a session event can change, as one frozen snapshot."""

    steps: tuple[StepView, ...] = ()
    current: str | None = None
    channels: tuple[ChannelView, ...] = ()
    engine: EngineView = field(default_factory=EngineView)
    headers: tuple[HeaderView, ...] = ()
    findings: tuple[FindingEntry, ...] = ()
    record: RecordView = field(default_factory=RecordView)
    running: bool = False
    finished: bool = False
    left_s: float | None = None
    """About how long the rest of the sheet takes at the pace so far; None: not known yet."""


class Progressed(Message):
    """The session went on."""

    def __init__(self, progress: Progress) -> None:
        super().__init__()
        self.progress = progress

    def can_replace(self, message: Message) -> bool:
        """Only the newest counts."""
        return isinstance(message, Progressed)


class WalkAdvanced(Message):
    """The location walk went on. Never replaced by a newer one: each carries its own sounds."""

    def __init__(self, view: WalkView) -> None:
        super().__init__()
        self.view = view


class WiggleAdvanced(Message):
    """The wiggle test went on."""

    def __init__(self, view: WiggleView) -> None:
        super().__init__()
        self.view = view


class TraceCaptured(Message):
    """A trace was measured."""

    def __init__(self, trace: TraceView) -> None:
        super().__init__()
        self.trace = trace


class Announced(Message):
    """Something the operator should read: an outcome, a refusal with its remedy, an error."""

    def __init__(self, text: str, *, severity: str = "information", title: str = "") -> None:
        super().__init__()
        self.text = text
        self.severity = severity
        self.title = title


class BenchDriveEnded(Message):
    """A free drive ended, or was blocked."""

    def __init__(self, channel: int, text: str, *, ok: bool) -> None:
        super().__init__()
        self.channel = channel
        self.text = text
        self.ok = ok


class BenchDriveAdvanced(Message):
    """A free drive of several trains begins one of them."""

    def __init__(self, channel: int, text: str) -> None:
        super().__init__()
        self.channel = channel
        self.text = text
