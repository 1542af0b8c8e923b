"""The bench page: drive any channel freely within its limits, and see what blocks it."""

from __future__ import annotations

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.widgets import Button, Input, Static

from loomproof.facts.kinds import HazardClass
from loomproof.tui.desk.protocol import TypedDrive
from loomproof.tui.pages.bench.fields import NumberInput, gauge_text
from loomproof.tui.pages.bench.parts import (
    ChoiceLine,
    SettingLine,
    bench_row,
    blocks_text,
    show_if,
    ways_text,
    why_text,
    write,
)
from loomproof.tui.pages.bench.view import BenchView
from loomproof.tui.pages.frame import Deck, Page, Pane, pane_tabs
from loomproof.tui.views.trace import ReadingView
from loomproof.tui.widgets.cautions import Cautions
from loomproof.tui.widgets.cursors import CursorWaveform, Readings
from loomproof.tui.widgets.keys import KeyButton
from loomproof.tui.widgets.row_list import RowList

FIRST_SETTINGS = 3
"""Lines of settings made with the page; more when a way needs them."""
NOT_DRIVEN = "✗ Not driven: correct what is marked with ✗ above."
EARLIER = (1, 3, 5, 0)
"""How many earlier drives are overlaid, in the order in which `y` goes through them."""
MOST_SISTERS = 4
CURSOR_HINT = "c: cursors A and B"
CURSORS_HINT = "←→ moves, c other, x away"


class BenchPage(Page):
    """Free drive."""

    NAME = "bench"
    BINDINGS = [
        Binding("d", "drive", "Drive the channel", show=False),
        Binding("e", "end", "End the drive", show=False),
        Binding("u", "unblock", "Unblock the channel", show=False),
        Binding("w", "way(1)", "Next way to drive", show=False),
        Binding("W", "way(-1)", "Way before", show=False),
        Binding("r", "reverse", "Reverse the direction", show=False),
        Binding("t", "trace", "Trace", tooltip="Go to the trace and its cursors"),
        Binding("c", "cursor", "Cursors", tooltip="Show the cursors, or change to the other"),
        Binding("x", "no_cursor", "Cursors away", show=False),
        Binding("y", "earlier", "Earlier", tooltip="Overlay earlier drives: 1, 3, 5 or none"),
        Binding("s", "sisters", "Alike", tooltip="Overlay channels with the same load, or not"),
        Binding("pageup", "scroll_text(-5)", "Text up", show=False),
        Binding("pagedown", "scroll_text(5)", "Text down", show=False),
    ]
    HELP = """\
# Bench

Drive one channel freely.

* Choose the channel with **up** and **down**; **Enter** or **Tab** goes on to the settings, **Enter** in a setting drives.
* **w** goes through the ways to drive: train, hold, peak and hold, sweeps of frequency and width (train after train
  between two limits), stepper and half-bridge where the job names them. **r** reverses a direction.
* **d** drives, **e** ends the drive early, or a sweep before its next train, without latching a stop.
* The range of each setting stands beside it and changes with the others; below, what sets it. The box also has
  limits of its own, and refuses what exceeds them.
* Full blocks of a gauge are used already, half-tone blocks are what this drive adds. Heat leaves again with time;
  fuel that might have been let out counts until its isolation is stated again.
* A channel that can hurt someone is blocked until the statement that it needs is made: **u** asks for it. After a trip
  on over-current, find the short first; then **u** clears the trip.
* **t** goes to the trace: the newest pulse over the expected band. **y** overlays earlier drives (1, 3, 5, none),
  **s** channels with the same load.
* **c** shows two cursors and changes from one to the other; **left** and **right** move it (with **Shift** further);
  **x** takes them away. The readings beside the trace are time and current at each, the difference, the slope, and
  between them the charge and the energy that load and wiring take (given back once the pulse is over).
* **PageUp** and **PageDown** scroll the text of the settings.
"""

    def compose_body(self) -> ComposeResult:
        """Lay out the panes."""
        with Deck(id="bench-deck"):
            with Horizontal(classes="pane-line"):
                yield from pane_tabs("Drive", "Channels", "Trace")
            with Pane(title="Drive", id="pane-drive"):
                yield from self._compose_drive()
            with Pane(title="Channels", id="pane-bench-channels"):
                yield RowList(id="bench-channels")
            with Pane(title="Trace", id="pane-bench-trace"):
                yield CursorWaveform(
                    id="bench-trace", empty_text="No trace yet. Drive the channel, or run its step."
                )
                yield Readings(id="bench-readings")

    def _compose_drive(self) -> ComposeResult:
        with VerticalScroll(id="drive-text", can_focus=False):
            yield Static(id="drive-title", markup=False)
            yield Static(id="drive-ways")
            with Vertical(id="drive-settings"):
                for index in range(FIRST_SETTINGS):
                    yield SettingLine(index)
            yield Static(id="drive-why", markup=False)
            yield Static(id="drive-blocks", markup=False)
            yield Cautions(id="drive-cautions")
            yield Static(id="drive-gauges", markup=False)
        yield Static(id="drive-said", markup=False)
        with Vertical(id="drive-answers"), Horizontal():
            yield KeyButton("d", "Drive", id="drive")
            yield KeyButton("e", "End", id="end")
            yield KeyButton("u", "Unblock", id="unblock")
            yield KeyButton("w", "Way", id="next-way", action="screen.way(1)")

    def on_mount(self) -> None:
        """Follow channels, traces and what a drive said."""
        super().on_mount()
        self._view: BenchView | None = None
        self._ways: dict[int, str] = {}
        self._typed: dict[tuple[int, str], dict[str, str]] = {}
        self._earlier, self._with_sisters = 0, True
        self.query_one("#bench-channels", RowList).empty_text = "This job has no channels."
        self.follow("progress", self._show_channels)
        self.follow("bench_channel", self._show_channel, init=False)  # the channels bring the first one
        self.follow("panel", self._show_state, init=False)
        self.follow("trace", self._show_trace, init=False)
        self.follow("drive_said", self._show_said)
        self._show_readings(None)
        self.query_one("#bench-channels", RowList).focus()

    # --- channels, ways, settings --------------------------------------------------------------------------

    async def _show_channels(self) -> None:
        channels = [c for c in self.console_app.progress.channels if c.fitted]
        rows = self.query_one("#bench-channels", RowList)
        rows.show([bench_row(channel) for channel in channels])
        if not self.console_app.bench_channel and channels:
            self.console_app.bench_channel = channels[0].channel  # which shows it
        elif self._view is None and self.console_app.bench_channel:
            await self._show_channel()

    async def _show_channel(self) -> None:
        app = self.console_app
        channel = next((c for c in app.progress.channels if c.channel == app.bench_channel), None)
        if channel is None:
            self._write("drive-title", "Choose a channel.")
            return
        self.query_one("#bench-channels", RowList).go_to(str(channel.channel))
        hazard = "no hazard" if channel.hazard == HazardClass.NONE else f"hazard: {channel.hazard}"
        where = f"{channel.cavity} {channel.wire}".strip()
        self._write(
            "drive-title", f"Channel {channel.channel}: {channel.name} · {where} · {hazard}\n{channel.load}"
        )
        self._view = None  # what stands in the fields is the channel's before
        await self._show_view(text=True)
        self._show_trace()

    def _look(self) -> BenchView | None:
        app = self.console_app
        if not app.bench_channel or not any(c.channel == app.bench_channel for c in app.progress.channels):
            return None
        way = self._ways.get(app.bench_channel, "")
        return app.desk.bench(app.bench_channel, way, self._texts(way))

    def _texts(self, way: str) -> dict[str, str]:
        """Return what was typed for this channel and way, in this session."""
        return self._typed.get((self.console_app.bench_channel, way), {})

    async def _show_view(self, *, text: bool = False) -> None:
        view = self._look()
        if view is None:
            return
        changed, self._view = view != self._view, view
        if not changed and not text:
            return
        if view.ready and self.console_app.drive_said == NOT_DRIVEN:
            self.console_app.drive_said = ""
        if not self._ways.get(view.channel):
            self._ways[view.channel] = view.way
        if text:
            # From here on what stands in the fields counts, though the defaults may change under them.
            self._typed[view.channel, view.way] = {s.key: s.text for s in view.settings}
        self.query_one("#drive-ways", Static).update(ways_text(view))
        await self._show_settings(view, text=text)
        blocks = self.query_one("#drive-blocks", Static)
        self._write("drive-blocks", blocks_text(view))
        blocks.set_class(bool(view.blocks), "-blocked")
        summary = [f"d drives: {view.summary}"] if view.summary else []
        self._write("drive-gauges", "\n".join([*summary, *(gauge_text(gauge) for gauge in view.gauges)]))
        self._show_why()
        await self.query_one("#drive-cautions", Cautions).show(view.cautions)
        self.bindings_depend_on((bool(view.blocks), any(s.choices for s in view.settings)))

    async def _show_settings(self, view: BenchView, *, text: bool) -> None:
        """Show the settings; lines are made when they are first needed, for each costs time to make."""
        typed = [setting for setting in view.settings if not setting.choices]
        chosen = next((setting for setting in view.settings if setting.choices), None)
        place = self.query_one("#drive-settings", Vertical)
        missing = range(len(self.query(SettingLine)), len(typed))
        await place.mount_all([SettingLine(index) for index in missing])
        if chosen is not None and not self.query(ChoiceLine):
            await place.mount(ChoiceLine(classes="setting"))
        for index, line in enumerate(self.query(SettingLine)):
            line.show(typed[index] if index < len(typed) else None, text=text)
        for choice in self.query(ChoiceLine):
            choice.show(chosen)

    def _show_why(self) -> None:
        if self._view is not None:
            focused = (
                self.focused.parent.key
                if isinstance(self.focused, NumberInput) and isinstance(self.focused.parent, SettingLine)
                else ""
            )
            self._write("drive-why", why_text(self._view, focused))
            wrong = any(s.problem for s in self._view.settings) or bool(self._view.problem)
            self.query_one("#drive-why").set_class(wrong, "-wrong")

    async def _show_state(self) -> None:
        await self._show_view()

    def on_descendant_focus(self) -> None:
        """Show the limit of the field that the cursor is in."""
        self._show_why()

    def _write(self, name: str, text: str) -> None:
        widget = self.query_one(f"#{name}", Static)
        write(widget, text)
        show_if(widget, bool(text))

    def _show_said(self) -> None:
        self._write("drive-said", self.console_app.drive_said)

    @on(Input.Changed)
    async def _changed(self, event: Input.Changed) -> None:
        line = event.input.parent
        if not isinstance(line, SettingLine) or not line.key or self._view is None:
            return
        if self._texts(self._view.way).get(line.key) == event.input.value:
            return  # put there by the page itself
        self._remember(line.key, event.input.value)  # what stands there now, for this channel
        await self._show_view()

    def _remember(self, key: str, text: str) -> None:
        assert self._view is not None
        known = self._typed.setdefault((self._view.channel, self._view.way), {})
        known[key] = text

    @on(RowList.Highlighted, "#bench-channels")
    def _moved(self, event: RowList.Highlighted) -> None:
        if event.key != event.rows.key:
            return  # the cursor has gone on since; following it back would set both chasing each other
        self.console_app.drive_said = ""
        self.console_app.bench_channel = int(event.key)

    @on(RowList.Chosen, "#bench-channels")
    def _chosen(self) -> None:
        self.query_one(Deck).bring("pane-drive")
        first = next((line for line in self.query(SettingLine) if line.key), None)
        if first is not None:
            first.query_one(NumberInput).focus()

    # --- doing ---------------------------------------------------------------------------------------------

    @on(Input.Submitted)
    @on(Button.Pressed, "#drive")
    async def action_drive(self) -> None:
        """Drive the channel as typed."""
        app = self.console_app
        await self._show_view()
        view = self._view
        if view is None:
            app.drive_said = "✗ Choose a channel first."
        elif app.progress.running:
            app.drive_said = "✗ Something is running. e ends a drive, the stop key ends everything."
        elif not view.ready:
            app.drive_said = NOT_DRIVEN
            self.query_one(Deck).bring("pane-drive")
        else:
            app.drive_said = "► Driving ..."
            app.desk.drive(TypedDrive(view.channel, view.way, view.values))

    @on(Button.Pressed, "#end")
    def action_end(self) -> None:
        """End the drive."""
        self.console_app.desk.cancel()

    @on(Button.Pressed, "#unblock")
    def action_unblock(self) -> None:
        """Ask for the statement the channel needs, or clear its trip."""
        if self.console_app.bench_channel:
            self.console_app.desk.unblock(self.console_app.bench_channel)

    async def action_way(self, by: int) -> None:
        """Go on to the next way to drive."""
        if self._view is not None:
            keys = [way.key for way in self._view.ways]
            await self._choose_way(keys[(keys.index(self._view.way) + by) % len(keys)])

    async def action_go_way(self, way: str) -> None:
        """Choose a way to drive."""
        await self._choose_way(way)

    async def _choose_way(self, way: str) -> None:
        self._ways[self.console_app.bench_channel] = way
        self._view = None
        self.query_one(Deck).bring("pane-drive")
        await self._show_view(text=True)

    @on(Button.Pressed, "#reverse")
    async def action_reverse(self) -> None:
        """Reverse the direction."""
        if self._view is None:
            return
        setting = next((s for s in self._view.settings if s.choices), None)
        if setting is not None:
            values = [value for value, _ in setting.choices]
            self._remember(setting.key, values[(values.index(setting.text) + 1) % len(values)])
            await self._show_view()

    def action_scroll_text(self, lines: int) -> None:
        """Scroll the text of the settings."""
        self.query_one("#drive-text").scroll_relative(y=lines, animate=False)

    # --- trace ---------------------------------------------------------------------------------------------

    def _show_trace(self) -> None:
        app = self.console_app
        if app.bench_channel:
            sisters = MOST_SISTERS if self._with_sisters else 0
            view = app.desk.expected(app.bench_channel, earlier=EARLIER[self._earlier], sisters=sisters)
            self.query_one(CursorWaveform).view = view

    @on(CursorWaveform.CursorsMoved)
    def _cursor_moved(self, event: CursorWaveform.CursorsMoved) -> None:
        self._show_readings(event.cursors)

    def _show_readings(self, cursors: tuple[float, float] | None) -> None:
        readings = self.query_one(Readings)
        read = None
        if cursors is not None:
            read = self.console_app.desk.readings(self.console_app.bench_channel, *cursors)
        readings.view = read or ReadingView()
        overlay = f"y: {EARLIER[self._earlier]} earlier, s: alike {'on' if self._with_sisters else 'off'}"
        if read is None:
            readings.hints = (CURSOR_HINT, overlay)
        else:
            active = "AB"[self.query_one(CursorWaveform).active]
            readings.hints = (f"{active}: {CURSORS_HINT}", overlay)

    def action_trace(self) -> None:
        """Go to the trace."""
        self.query_one(Deck).bring("pane-bench-trace")
        self.query_one(CursorWaveform).focus()

    def action_cursor(self) -> None:
        """Show the cursors, or change to the other."""
        self.action_trace()
        waveform = self.query_one(CursorWaveform)
        waveform.change()
        self._show_readings(waveform.cursors)

    def action_no_cursor(self) -> None:
        """Take the cursors away."""
        self.query_one(CursorWaveform).away()

    def action_earlier(self) -> None:
        """Overlay another number of earlier drives."""
        self._earlier = (self._earlier + 1) % len(EARLIER)
        self._redraw()

    def action_sisters(self) -> None:
        """Overlay channels with the same load, or not."""
        self._with_sisters = not self._with_sisters
        self._redraw()

    def _redraw(self) -> None:
        self.query_one(Deck).bring("pane-bench-trace")
        self._show_trace()
        self._show_readings(self.query_one(CursorWaveform).cursors)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Unblocking is offered only for a blocked channel, reversing only where there is a direction."""
        view = getattr(self, "_view", None)
        if view is not None and action == "unblock":
            return bool(view.blocks)
        if view is not None and action == "reverse":
            return any(setting.choices for setting in view.settings)
        return super().check_action(action, parameters)
