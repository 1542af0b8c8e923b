"""Frozen snapshots of what the pages show. Widgets know these and nothing of sessions, boxes or jobs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from loomproof.tui.words import Live


class LinkState(StrEnum):
    """Whether the box answers."""

    CONNECTING = "connecting"
    LIVE = "live"
    LOST = "LOST"
    NONE = "no box"


@dataclass(frozen=True)
class Armed:
    """One hazard class with its arming; `left_s` 0 means blocked."""

    hazard: str
    left_s: float = 0.0


@dataclass(frozen=True)
class PanelView:
    """What the status bar shows: the link, the supply, what is armed and whether the box is stopped."""

    link: LinkState = LinkState.NONE
    box_name: str = ""
    simulated: bool = False
    supply_v: float | None = None
    state: str = ""
    stopped: bool = False
    stop_reason: str = ""
    stop_input_open: bool = False
    armed: tuple[Armed, ...] = ()
    isolation_left_s: float | None = None
    """Seconds the fuel-isolation statement still holds; None: no such statement."""
    driving_channel: int = 0
    held: bool = False
    """The channel that is watched is held on meanwhile: it is driven."""
    tripped: tuple[int, ...] = ()
    waiting: str = ""
    """A question that waits for an answer, in a few words; empty: none."""
    reading: bool = False
    """This console only reads and senses: it is in a browser."""
    fuel: bool = True
    """A channel of the job may let fuel out, so that its isolation is of interest."""


@dataclass(frozen=True)
class ChannelView:
    """One channel's strip."""

    channel: int
    name: str
    load: str
    cavity: str
    wire: str
    location: str
    feed: str = ""
    hazard: str = "none"
    live: Live = Live.OFF
    verdict: str = "not tested"
    measured: str = ""
    reason: str = ""
    fitted: bool = True
    cylinder: int | None = None
    role: str = ""
    """What it does at its cylinder: `fuel`, `spark` or empty."""


@dataclass(frozen=True)
class CautionView:
    """A caution with its signal word."""

    signal: str
    text: str


@dataclass(frozen=True)
class StepView:
    """One step of the run sheet."""

    id: str
    number: int
    kind: str
    title: str
    what: str
    state: str = "waiting"
    channel: int | None = None
    hazard: str = "none"
    drive: str = ""
    cautions: tuple[CautionView, ...] = ()
    outcome: str = ""
    attempts: int = 0
    short: str = ""
    """The title for the list; empty: the title itself."""
    busy_s: float | None = None
    """How long the box is busy in it, about; None: it waits for hands, or nobody knows."""


@dataclass(frozen=True)
class ChoiceView:
    """One answer to a prompt: the key that gives it, its label and the value handed back."""

    key: str
    label: str
    value: str
    needs_reason: bool = False


@dataclass(frozen=True)
class FactView:
    """One fact of a statement: its key and its words."""

    key: str
    text: str


@dataclass(frozen=True)
class PromptView:
    """A question to the operator. With `facts` it is a statement, put in a window of its own."""

    id: str
    title: str
    text: str
    choices: tuple[ChoiceView, ...] = ()
    cautions: tuple[CautionView, ...] = ()
    facts: tuple[FactView, ...] = ()
    typed_word: str = ""
    """With a word, each fact is confirmed by typing `yes`, the whole by the word; without, by a tick each."""
    channel: int | None = None
    problem: str = ""
    """What was wrong with the answer before."""


@dataclass(frozen=True)
class Curve:
    """One trace as it is drawn. Both sequences have the same length."""

    label: str
    times_s: Sequence[float]
    values: Sequence[float]
    kind: int = -1
    """0 newest, 1 an earlier one, 2 a like load's: how it is drawn; -1: by its place in the view."""


@dataclass(frozen=True)
class TraceBand:
    """The expected range of a trace. All three sequences have the same length."""

    times_s: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    label: str = "expected"


@dataclass(frozen=True)
class TraceView:
    """Curves to be drawn over one another, the first being the newest measured one."""

    title: str = ""
    curves: tuple[Curve, ...] = ()
    band: TraceBand | None = None
    unit: str = "A"
    channel: int | None = None
    reading: str = ""
    on_time_s: float = 0.0
    """Length of the pulse, 0: unknown."""


@dataclass(frozen=True)
class ReadingView:
    """What cursors read: (name, value in words)."""

    rows: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class CylinderView:
    """One cylinder: where it lies and what is proven there."""

    number: int
    bank: int
    place: int
    """Position along its bank, 0 at the end numbering starts from."""
    marks: tuple[tuple[str, str], ...] = ()
    """(role letter, verdict, or `driven` or `tripped` while it is) of each load at this cylinder."""
    live: bool = False


@dataclass(frozen=True)
class EngineView:
    """The engine as it lies."""

    cylinders: tuple[CylinderView, ...] = ()
    layout: str = "none"
    banks: int = 1
    orientation: str = "lengthwise"
    numbering: str = ""
    firing_order: tuple[int, ...] = ()
    start_text: str = ""
    """What lies at the end where cylinder 1 is, e.g. `belts (free end)`."""
    end_text: str = ""
    elsewhere: tuple[ChannelView, ...] = ()


@dataclass(frozen=True)
class CavityView:
    """One cavity of a header: what is in it, as far as the job says."""

    number: int
    wire: str = ""
    channel: int | None = None
    name: str = ""
    feed: str = ""
    """Terminal number of the feed that enters here (DIN 72552), empty: none."""
    verdict: str = "not tested"
    live: Live = Live.OFF
    colours: str = ""
    """The wire's colour in words."""


@dataclass(frozen=True)
class HeaderView:
    """A header's face. `rows` holds cavity numbers from the top left, 0 where there is no cavity."""

    id: str
    name: str
    rows: tuple[tuple[int, ...], ...]
    seen_from: str = ""
    """`mating` or `wire`, the side that `rows` are seen from; empty: the job does not say."""
    cavities: tuple[CavityView, ...] = ()
    """Those in use."""


@dataclass(frozen=True)
class FindingEntry:
    """One finding as the page tells it."""

    title: str
    sentence: str
    likelihood: str
    where: str
    evidence: tuple[str, ...] = ()
    against: tuple[str, ...] = ()
    remedy: str = ""
    next_measurement: str = ""


@dataclass(frozen=True)
class JobView:
    """The head of the job."""

    title: str = "no job"
    number: str = ""
    customer: str = ""
    vehicle: str = ""
    builder: str = ""
    setting: str = ""
    note: str = ""


@dataclass(frozen=True)
class WayView:
    """One way to drive a channel; `blocked` says why it cannot be used, empty: it can."""

    key: str
    label: str
    blocked: str = ""


@dataclass(frozen=True)
class SettingView:
    """One setting of a free drive: what stands in its field, its range, what sets that, what is wrong."""

    key: str
    label: str
    unit: str = ""
    text: str = ""
    limits: str = ""
    why: str = ""
    problem: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    """(text, word) of each; empty: a number is typed."""


@dataclass(frozen=True)
class GaugeView:
    """One gauge: how full it is now and after the drive, 1 being full; None: words alone."""

    label: str
    now: float | None = None
    after: float | None = None
    word: str = ""
    text: str = ""


@dataclass(frozen=True)
class BenchView:
    """One channel on the bench."""

    channel: int
    way: str
    ways: tuple[WayView, ...] = ()
    settings: tuple[SettingView, ...] = ()
    problem: str = ""
    """What is wrong with the settings together."""
    blocks: tuple[tuple[str, str], ...] = ()
    """(what blocks it, how to unblock it)."""
    gauges: tuple[GaugeView, ...] = ()
    cautions: tuple[CautionView, ...] = ()
    summary: str = ""
    values: tuple[tuple[str, float], ...] = ()
    """The settings as numbers."""
    ready: bool = False
    """Within every limit; it may still be blocked."""


@dataclass(frozen=True)
class RecordLine:
    """One line of the record so far."""

    when: str
    what: str
    text: str
    verdict: str = ""


@dataclass(frozen=True)
class RecordView:
    """The record being written."""

    where: str = ""
    id: str = ""
    lines: tuple[RecordLine, ...] = field(default_factory=tuple)
