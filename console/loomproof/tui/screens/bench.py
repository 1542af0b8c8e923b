"""The bench page: drive any channel freely within its limits, and see what blocks it."""

from __future__ import annotations

from dataclasses import dataclass

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.widgets import Button, Input, Static

from loomproof.tui.desk import DriveRequest
from loomproof.tui.screens.frame import Deck, Page, Pane, pane_tabs
from loomproof.tui.views import BudgetView, ChannelView
from loomproof.tui.widgets.keys import KeyButton
from loomproof.tui.widgets.rows import Row, RowList
from loomproof.tui.widgets.waveform import Waveform
from loomproof.tui.words import LIVE_SIGNS, verdict_sign


@dataclass(frozen=True)
class Field:
    """One setting of a pulse train: its name, unit, and the limit's place in a budget."""

    name: str
    label: str
    unit: str


FIELDS = (
    Field("count", "Pulses", ""),
    Field("frequency", "Frequency", "Hz"),
    Field("width", "Pulse width", "ms"),
)


def bench_row(channel: ChannelView) -> Row:
    """Return the short row of a channel."""
    live = LIVE_SIGNS[channel.live]
    verdict = verdict_sign(channel.verdict)
    hazard = "" if channel.hazard == "none" else f"{channel.hazard} "
    return Row(
        str(channel.channel),
        ((f"{channel.channel:>2} ", "quiet"), (f"{live.shape} ", live.role), (channel.name, "plain")),
        tail=(f"{hazard}{verdict.shape} {verdict.word}", verdict.role),
        now=channel.live.value == "driven",
    )


def limit_text(field: Field, budget: BudgetView) -> str:
    """Return a setting's range in words."""
    if field.name == "count":
        return f"1 to {budget.max_count}"
    if field.name == "frequency":
        return f"up to {budget.max_frequency_hz:g} Hz"
    if budget.max_on_time_ms < budget.min_on_time_ms:
        return "none fits, see below"
    return f"{budget.min_on_time_ms:.3g} to {budget.max_on_time_ms:.3g} ms"


def read_request(channel: int, texts: dict[str, str]) -> tuple[DriveRequest | None, str]:
    """Return the request the typed texts mean, or None and which one is no number."""
    numbers: dict[str, float] = {}
    for field in FIELDS:
        try:
            numbers[field.name] = float(texts[field.name].strip().replace(",", "."))
        except ValueError:
            return None, f"{field.label}: write a number, like 10 or 2.5."
    if numbers["count"] != int(numbers["count"]):
        return None, "Pulses: write a whole number."
    if numbers["frequency"] <= 0:
        return None, "Frequency: write a number over 0."
    return DriveRequest(channel, int(numbers["count"]), numbers["frequency"], numbers["width"]), ""


def blocks_text(budget: BudgetView) -> str:
    """Return what blocks a channel and how to unblock it, in words."""
    if not budget.blocks:
        return "✓ Nothing blocks this channel."
    return "\n".join(f"✗ Blocked: {reason}\n  To unblock: {remedy}" for reason, remedy in budget.blocks)


def limits_text(budget: BudgetView) -> str:
    """Return what sets the limits, in words."""
    lines = [f"On for at most {budget.max_duty:.0%} of the time.", *budget.reasons]
    return "\n".join(f"Limit: {line}" for line in lines)


class BenchPage(Page):
    """Free drive."""

    NAME = "bench"
    BINDINGS = [
        Binding("d", "drive", "Drive the channel", show=False),
        Binding("e", "end", "End the drive", show=False),
        Binding("u", "unblock", "Unblock the channel", show=False),
    ]
    HELP = """\
# Bench

Drive one channel freely: how many pulses, how often, how long each.

* Choose the channel with **up** and **down**; **Tab** goes on to the settings, **Enter** in a setting drives.
* **d** drives, **e** ends the drive early without latching a stop.
* The range of each setting stands beside it, and below it what sets the limit. The box holds its own limits
  besides, and refuses what is over them.
* A channel that can hurt someone is blocked until the statement it needs is made: **u** asks for it.
* The trace shows the newest pulse, the one before it, and a like load, over the expected band.
"""

    def compose_body(self) -> ComposeResult:
        """Lay out the panes."""
        with Deck(id="bench-deck"):
            with Horizontal(classes="pane-line"):
                yield from pane_tabs("Drive", "Channels", "Trace")
            with Pane(title="Drive", id="pane-drive"):
                with VerticalScroll(id="drive-text", can_focus=False):
                    yield Static(id="drive-title", markup=False)
                    for field in FIELDS:
                        with Horizontal(classes="setting"):
                            yield Static(field.label, classes="setting-name")
                            yield Input(id=f"set-{field.name}", compact=True, max_length=8)
                            yield Static(f"{field.unit:<3}", classes="setting-unit")
                            yield Static("", id=f"limit-{field.name}", classes="setting-limit", markup=False)
                    yield Static(id="drive-blocks", markup=False)
                    yield Static(id="drive-why", markup=False)
                    yield Static(id="drive-said", markup=False)
                with Vertical(id="drive-answers"), Horizontal():
                    yield KeyButton("d", "Drive", id="drive")
                    yield KeyButton("e", "End", id="end")
                    yield KeyButton("u", "Unblock", id="unblock")
            with Pane(title="Channels", id="pane-bench-channels"):
                yield RowList(id="bench-channels")
            with Pane(title="Trace", id="pane-bench-trace"):
                yield Waveform(
                    id="bench-trace", empty_text="No trace yet. Drive the channel, or run its step."
                )

    def on_mount(self) -> None:
        """Follow channels, traces and what a drive said."""
        super().on_mount()
        self._budget: BudgetView | None = None
        self.query_one("#bench-channels", RowList).empty_text = "This job has no channels."
        self.watch(self.app, "progress", self._show_channels)
        self.watch(self.app, "bench_channel", self._show_channel)
        self.watch(self.app, "panel", self._show_blocks, init=False)
        self.watch(self.app, "trace", self._show_trace, init=False)
        self.watch(self.app, "drive_said", self._show_said)
        self.query_one("#bench-channels", RowList).focus()

    def _show_channels(self) -> None:
        channels = [c for c in self.console_app.progress.channels if c.fitted]
        rows = self.query_one("#bench-channels", RowList)
        rows.show([bench_row(channel) for channel in channels])
        if not self.console_app.bench_channel and channels:
            self.console_app.bench_channel = channels[0].channel
        elif self._budget is None and self.console_app.bench_channel:
            self._show_channel()

    def _show_channel(self) -> None:
        app = self.console_app
        channel = next((c for c in app.progress.channels if c.channel == app.bench_channel), None)
        if channel is None:
            self.query_one("#drive-title", Static).update("Choose a channel.")
            return
        self.query_one("#bench-channels", RowList).go_to(str(channel.channel))
        what = f"{channel.load} · {channel.cavity} {channel.wire} · hazard: {channel.hazard}"
        self.query_one("#drive-title", Static).update(f"Channel {channel.channel}: {channel.name}\n{what}")
        self._budget = budget = app.desk.budget(channel.channel)
        for name, value in (
            ("count", budget.count),
            ("frequency", budget.frequency_hz),
            ("width", budget.on_time_ms),
        ):
            self.query_one(f"#set-{name}", Input).value = f"{value:.4g}"
        for field in FIELDS:
            self.query_one(f"#limit-{field.name}", Static).update(limit_text(field, budget))
        self._show_blocks()
        self._show_trace()

    def _show_blocks(self) -> None:
        app = self.console_app
        if not app.bench_channel or self._budget is None:
            return
        budget = app.desk.budget(app.bench_channel)
        self._budget = budget
        blocks = self.query_one("#drive-blocks", Static)
        blocks.update(blocks_text(budget))
        blocks.set_class(bool(budget.blocks), "-blocked")
        self.query_one("#drive-why", Static).update(limits_text(budget))
        self.refresh_bindings()

    def _show_trace(self) -> None:
        app = self.console_app
        if app.bench_channel:
            self.query_one(Waveform).view = app.desk.expected(app.bench_channel)

    def _show_said(self) -> None:
        self.query_one("#drive-said", Static).update(self.console_app.drive_said)

    @on(RowList.Moved, "#bench-channels")
    def _moved(self, event: RowList.Moved) -> None:
        if event.key != event.rows.key:
            return  # the cursor has gone on since; following it back would set both chasing each other
        self.console_app.drive_said = ""
        self.console_app.bench_channel = int(event.key)

    @on(RowList.Chosen, "#bench-channels")
    def _chosen(self) -> None:
        self.query_one(Deck).bring("pane-drive")
        self.query_one("#set-count", Input).focus()

    @on(Input.Submitted)
    @on(Button.Pressed, "#drive")
    def action_drive(self) -> None:
        """Drive the channel as typed."""
        request, problems = self.request()
        if request is None:
            self.console_app.drive_said = "\n".join(f"✗ {problem}" for problem in problems)
            return
        self.console_app.drive_said = "► Driving ..."
        self.console_app.desk.drive(request)

    def request(self) -> tuple[DriveRequest | None, tuple[str, ...]]:
        """Return what the settings mean if it may be driven, or None and all that is wrong with them."""
        if self._budget is None:
            return None, ("Choose a channel first.",)
        texts = {field.name: self.query_one(f"#set-{field.name}", Input).value for field in FIELDS}
        request, problem = read_request(self._budget.channel, texts)
        if request is None:
            return None, (problem,)
        problems = self.console_app.desk.check(request)
        return (None, problems) if problems else (request, ())

    @on(Button.Pressed, "#end")
    def action_end(self) -> None:
        """End the drive."""
        self.console_app.desk.cancel()

    @on(Button.Pressed, "#unblock")
    def action_unblock(self) -> None:
        """Ask for the statement the channel needs."""
        if self.console_app.bench_channel:
            self.console_app.desk.unblock(self.console_app.bench_channel)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Unblocking is offered only for a blocked channel."""
        if action == "unblock" and getattr(self, "_budget", None) is not None:
            return bool(self._budget and self._budget.blocks)
        return super().check_action(action, parameters)
