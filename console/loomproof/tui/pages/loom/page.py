"""The loom page: every channel with its live state and verdict, the engine, and one channel in words."""

from __future__ import annotations

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, VerticalScroll
from textual.widgets import Static

from loomproof.tui.pages.frame import Deck, Page, Pane, pane_tabs
from loomproof.tui.pages.loom.view import JobView
from loomproof.tui.views.channel import ChannelView
from loomproof.tui.widgets.engine import EnginePicture
from loomproof.tui.widgets.header import HeaderPicture
from loomproof.tui.widgets.row_list import Row, RowList
from loomproof.tui.words import LIVE_SIGNS, Live, verdict_sign


def strip_row(channel: ChannelView) -> Row:
    """Return the strip of a channel: live state, verdict, name, cavity, wire; more where there is room."""
    live = LIVE_SIGNS[channel.live]
    verdict = verdict_sign(channel.verdict)
    return Row(
        str(channel.channel),
        (
            (f"{channel.channel:>2} ", "quiet"),
            (f"{live.shape} {live.word:<8}", live.role),
            (f"{verdict.shape} {verdict.word:<11}", verdict.role),
            (f"{channel.name[:21]:<22}", "plain"),
            (f"{channel.cavity:<7}", "plain"),
            (f"{channel.wire:<6}", "quiet"),
        ),
        wide=((f" {channel.measured}", "plain"),),
        now=channel.live in (Live.DRIVEN, Live.SENSED),
    )


def describe(channel: ChannelView) -> str:
    """Return one channel in words."""
    lines = [
        f"Channel {channel.channel}: {channel.name}",
        f"Load      {channel.load}",
        f"Location  {channel.location or 'not stated'}",
        f"Cavity    {channel.cavity}   wire {channel.wire}",
        f"Feed      {channel.feed or 'not stated'}",
        f"Hazard    {channel.hazard}",
        f"State     {LIVE_SIGNS[channel.live]}",
        f"Verdict   {verdict_sign(channel.verdict)}",
    ]
    if channel.measured:
        lines.append(f"Measured  {channel.measured}")
    if channel.reason:
        lines.append(f"Because   {channel.reason}")
    return "\n".join(lines)


def job_lines(job: JobView) -> str:
    """Return the head of the job in words."""
    pairs = (
        ("Job", " ".join(part for part in (job.number, job.title) if part)),
        ("Customer", job.customer),
        ("Vehicle", job.vehicle),
        ("Builder", job.builder),
        ("Setting", job.setting),
        ("Note", job.note),
    )
    return "\n".join(f"{name:<10}{text}" for name, text in pairs if text)


class LoomPage(Page):
    """Channels, engine and one channel's details."""

    NAME = "loom"
    BINDINGS = [
        Binding("b", "bench", "Drive this channel"),
        Binding("m", "mirror", "Other side", tooltip="Draw the header from its other side"),
        Binding("h", "header", "Next header", tooltip="Draw the next header of the loom"),
    ]
    HELP = """\
# Loom

Every channel of the job, one line each.

* The first sign is what the channel does now: ○ off, ► driven, ~ sensed, ! tripped on over-current.
* The second is what is proven: ✓ pass, ✗ FAIL, ? unsure, · not tested, - not fitted.
* **up**, **down** choose a channel; its details stand beside (or behind **v**).
* **b** takes the channel to the bench, where it can be driven freely.

The header is drawn as the job describes it: each cavity with its number, and below it the channel with its sign, or
the supply that enters there. The cavity of the chosen channel has a heavy frame. The side it is seen from is
written above it; **m** draws it from the other side, **h** goes to the next header.

The engine is drawn as it lies in the bay, seen from above, the front of the vehicle at the top. The free end of
the crankshaft is the side opposite the power output. A cylinder with a double frame and the word LIVE is being
driven.
"""

    def compose_body(self) -> ComposeResult:
        """Lay out the panes."""
        with Deck(id="loom-deck"):
            with Horizontal(classes="pane-line"):
                yield from pane_tabs("Channels", "Header", "Engine", "This channel", "Job")
            with Pane(title="Channels", id="pane-channels"):
                yield RowList(id="strips")
            with Pane(title="Header", id="pane-header"):
                yield HeaderPicture()
            with Pane(title="Engine", id="pane-loom-engine"):
                yield EnginePicture()
            with Pane(title="This channel", id="pane-channel"), VerticalScroll(can_focus=False):
                yield Static(id="channel-text", markup=False)
            with Pane(title="Job", id="pane-job"), VerticalScroll(can_focus=False):
                yield Static(job_lines(self.console_app.desk.job), markup=False)

    def on_mount(self) -> None:
        """Follow the channels."""
        super().on_mount()
        strips = self.query_one("#strips", RowList)
        strips.empty_text = "This job has no channels."
        self.follow("progress", self._show)
        strips.focus()

    def _show(self) -> None:
        progress = self.console_app.progress
        self.bindings_depend_on(len(progress.headers) > 1)
        self.query_one("#strips", RowList).show([strip_row(channel) for channel in progress.channels])
        self.query_one(EnginePicture).view = progress.engine
        self.query_one(HeaderPicture).views = progress.headers
        self._detail()

    @on(RowList.Highlighted, "#strips")
    def _detail(self) -> None:
        channel = self.chosen()
        self.query_one("#channel-text", Static).update(describe(channel) if channel else "No channel.")
        self.query_one(HeaderPicture).marked = channel.cavity if channel else ""

    @on(RowList.Chosen, "#strips")
    def _chosen(self) -> None:
        self.query_one(Deck).bring("pane-channel")

    def chosen(self) -> ChannelView | None:
        """Return the channel under the cursor."""
        key = self.query_one("#strips", RowList).key
        return next((c for c in self.console_app.progress.channels if str(c.channel) == key), None)

    def action_mirror(self) -> None:
        """Draw the header from its other side."""
        picture = self.query_one(HeaderPicture)
        picture.mirrored = not picture.mirrored
        self.query_one(Deck).bring("pane-header")

    def action_header(self) -> None:
        """Draw the next header."""
        self.query_one(HeaderPicture).turn()
        self.query_one(Deck).bring("pane-header")

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """A next header is offered only where there is one."""
        if action == "header":
            return len(self.console_app.progress.headers) > 1
        return super().check_action(action, parameters)

    async def action_bench(self) -> None:
        """Take the channel to the bench."""
        channel = self.chosen()
        if channel is not None:
            self.console_app.bench_channel = channel.channel
            await self.app.run_action("page('bench')")
