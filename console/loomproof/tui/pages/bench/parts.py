"""Parts of the bench page: its channel rows, its lines of settings, and what it says in words."""

from __future__ import annotations

from rich.style import Style
from rich.text import Text
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.widget import Widget
from textual.widgets import Static

from loomproof.facts.kinds import HazardClass
from loomproof.tui.pages.bench.fields import NumberInput
from loomproof.tui.pages.bench.view import BenchView, SettingView
from loomproof.tui.views.channel import ChannelView
from loomproof.tui.widgets.keys import KeyButton
from loomproof.tui.widgets.row_list import Row
from loomproof.tui.words import LIVE_SIGNS, Live, verdict_sign


def bench_row(channel: ChannelView) -> Row:
    """Return the short row of a channel."""
    live = LIVE_SIGNS[channel.live]
    verdict = verdict_sign(channel.verdict)
    hazard = "" if channel.hazard == HazardClass.NONE else f"{channel.hazard} "
    return Row(
        str(channel.channel),
        ((f"{channel.channel:>2} ", "quiet"), (f"{live.shape} ", live.role), (channel.name, "plain")),
        tail=(f"{hazard}{verdict.shape} {verdict.word}", verdict.role),
        now=channel.live is Live.DRIVEN,
    )


def blocks_text(view: BenchView) -> str:
    """Return what blocks a channel and how to unblock it, in words."""
    if not view.blocks:
        return "✓ Nothing blocks this channel."
    return "\n".join(f"✗ Blocked: {reason}\n  To unblock: {remedy}" for reason, remedy in view.blocks)


def limit_face(setting: SettingView) -> str:
    """Return what stands beside a field: its range, or shortly what is wrong with it."""
    return f"✗ {setting.problem_short or setting.problem}" if setting.problem else setting.limits


def why_text(view: BenchView, focused: str) -> str:
    """Return what is wrong in full, or what sets the limit of the field that is being typed in."""
    labels: dict[str, list[str]] = {}
    for setting in view.settings:
        if setting.problem:
            labels.setdefault(setting.problem, []).append(setting.label)
    wrong = [f"✗ {', '.join(of)}: {problem}" for problem, of in labels.items()]
    if wrong or view.problem:
        return "\n".join([*wrong, *([f"✗ {view.problem}"] if view.problem else [])])
    here = next((s for s in view.settings if s.key == focused and s.why), None)
    return f"Limit of {here.label.lower()}: {here.why}" if here is not None else ""


class SettingLine(Horizontal):
    """One setting that is typed: name, field, unit and range."""

    def __init__(self, index: int) -> None:
        super().__init__(classes="setting", id=f"setting-{index}")
        self.index = index
        self.key = ""

    def compose(self) -> ComposeResult:
        """Lay out the parts."""
        yield Static(classes="setting-name", markup=False)
        yield NumberInput(id=f"set-{self.index}", compact=True, max_length=8)
        yield Static(classes="setting-limit", markup=False)

    def show(self, setting: SettingView | None, *, text: bool) -> None:
        """Show a setting; with `text`, put its text into the field as well."""
        show_if(self, setting is not None)
        if setting is None:
            self.key = ""
            return
        self.key = setting.key
        field = self.query_one(NumberInput)
        if text and field.value != setting.text:
            field.value = setting.text
        write(self.query_one(".setting-name", Static), setting.label)
        write(self.query_one(".setting-limit", Static), f"{setting.unit:<2} {limit_face(setting)}")
        if self.has_class("-wrong") is not bool(setting.problem):
            self.set_class(bool(setting.problem), "-wrong")


class ChoiceLine(Horizontal):
    """A setting that is chosen: its name, and the choice as a button with its key."""

    def compose(self) -> ComposeResult:
        """Lay out the parts."""
        yield Static(classes="setting-name", markup=False)
        yield KeyButton("r", "", id="reverse")

    def show(self, setting: SettingView | None) -> None:
        """Show a setting with its choices; None: there is none."""
        show_if(self, setting is not None)
        if setting is not None:
            words = dict(setting.choices)
            write(self.query_one(".setting-name", Static), setting.label)
            self.query_one(KeyButton).label = Text.assemble(
                ("[r] ", "dim"), words.get(setting.text, setting.text)
            )


def write(widget: Static, text: str) -> None:
    """Put a text into a widget if it is another one: each time the page would be laid out anew."""
    if str(widget.content) != text:
        widget.update(text)


def show_if(widget: Widget, wanted: bool) -> None:
    """Show or hide a widget; what is so already is left alone, for the same reason."""
    if widget.display is not wanted:
        widget.display = wanted


def ways_text(view: BenchView) -> Text:
    """Return the ways to drive in one line, the chosen one marked; a click on one chooses it."""
    line = Text()
    for way in view.ways:
        here = way.key == view.way
        sign = "▸" if here else ("✗" if way.blocked else " ")
        style = Style(bold=here, underline=here, meta={"@click": f"screen.go_way({way.key!r})"})
        line.append(f"{sign}{way.label}", style)
        line.append("  ")
    line.rstrip()
    return line
