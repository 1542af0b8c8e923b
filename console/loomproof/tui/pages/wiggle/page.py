"""The wiggle page: channels watched while a hand goes along the loom, a strip chart, a tick and a line each time."""

from __future__ import annotations

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal
from textual.reactive import reactive
from textual.widgets import Button, Static

from loomproof.tui.pages.frame import Deck, Page, Pane, pane_tabs
from loomproof.tui.pages.questions import AskReason
from loomproof.tui.pages.wiggle.stripchart import StripChart
from loomproof.tui.pages.wiggle.view import DropoutRow, WiggleView
from loomproof.tui.views.channel import ChannelView
from loomproof.tui.widgets.keys import KeyButton
from loomproof.tui.widgets.row_list import Row, RowList

HAND_KEYS = (
    ("h", "header", "at the header"),
    ("j", "splice", "at a splice or branch"),
    ("w", "wall", "where it goes through a wall"),
    ("c", "plug", "at the load's connector"),
)


def channel_row(channel: ChannelView, chosen: bool, watching: bool) -> Row:
    """Return the line of a channel."""
    mark = ("[x] ", "live") if chosen else ("[ ] ", "quiet")
    state = ("► watched ", "live") if watching else ("", "plain")
    return Row(
        str(channel.channel),
        (mark, (f"{channel.channel:>2} ", "quiet"), (channel.name, "plain")),
        tail=state,
        now=watching,
    )


def dropout_row(row: DropoutRow) -> Row:
    """Return the line of a dropout."""
    hand = row.hand or "hand not marked"
    return Row(
        str(row.number),
        (
            (f"{row.at_s:6.2f} s ", "quiet"),
            (f"ch {row.channel:<3}", "bad"),
            (f"{row.length_ms:6.3g} ms ", "plain"),
            (f"{row.depth_percent:4.0f} % ", "plain"),
            (hand, "plain" if row.hand else "quiet"),
        ),
    )


class WigglePage(Page):
    """The wiggle test at will."""

    NAME = "wiggle"
    BINDINGS = [
        Binding("space", "choose", "Choose", tooltip="Watch the channel under the cursor, or not"),
        Binding("g", "begin", "Begin"),
        Binding("e", "enough", "End"),
        Binding("t", "held", "Held or at rest", show=False),
        Binding("l", "label", "Own words", show=False),
        Binding("m", "sounds", "Sounds", show=False),
        Binding("f", "flex", "Hand", tooltip="Demo: flex the loom at the channel under the cursor"),
        *(Binding(key, f"hand('{key}')", text, show=False) for key, _, text in HAND_KEYS),
    ]
    HELP = """\
# Wiggle

Bend and tug the loom while the box watches for contacts that open. Each dropout is a tick, a dip on the chart
and a line with its time, length and depth.

* **space** chooses channels (**up**, **down** move); **g** begins, **e** ends.
* **t**: at rest only the pin is watched and nothing is driven. *Held* switches the load on, which shows what opens
  under current; it is driven, so it needs its statements (bench page, **u**) and rests to keep its duty. Injectors,
  coils and starters are never held.
* One channel is watched at a time: several take turns of two seconds, and the chart shows whose turn it is. A
  break on another one meanwhile is not seen. Nor is a break shorter than a sample, 0.2 ms.
* Say where the hand is: **h** header, **j** splice or branch, **w** through the wall, **c** connector; the list of
  places with **Enter**; **l** in your own words. It counts from then on. With the cursor on a dropout the same keys
  say where the hand was then.
* Everything is in the record, and in the report.
"""
    chosen: reactive[frozenset[int]] = reactive(frozenset())
    held: reactive[bool] = reactive(False)

    def compose_body(self) -> ComposeResult:
        """Lay out the panes."""
        with Deck(id="wiggle-deck"):
            with Horizontal(classes="pane-line"):
                yield from pane_tabs("Chart", "Dropouts", "Channels", "Hand")
            with Pane(title="Chart", id="pane-wiggle-chart"):
                yield Static(id="wiggle-state", markup=False)
                yield StripChart(id="wiggle-chart")
                yield Static(id="wiggle-said", markup=False)
                with Horizontal(classes="wiggle-keys"):
                    yield KeyButton("g", "Begin", action="screen.begin", id="wiggle-begin")
                    yield KeyButton("e", "End", action="screen.enough", id="wiggle-enough")
                    yield KeyButton("t", "Hold on instead", action="screen.held", id="wiggle-held")
                with Horizontal(classes="wiggle-keys"):
                    for key, word, _ in HAND_KEYS:
                        yield KeyButton(key, word.capitalize(), action=f"screen.hand('{key}')")
                    yield KeyButton("l", "Words", action="screen.label")
            with Pane(title="Dropouts", id="pane-wiggle-rows"):
                yield RowList(id="wiggle-rows")
            with Pane(title="Channels", id="pane-wiggle-channels"):
                yield RowList(id="wiggle-channels")
            with Pane(title="Hand", id="pane-wiggle-hand"):
                yield RowList(id="wiggle-places")

    def on_mount(self) -> None:
        """Follow the channels and the test."""
        super().on_mount()
        self.query_one("#wiggle-rows", RowList).empty_text = "No dropout yet."
        self.query_one("#wiggle-channels", RowList).empty_text = "This job has no channels."
        self.query_one("#wiggle-places", RowList).empty_text = "This job names no places."
        for button in self.query(".wiggle-keys KeyButton"):
            button.can_focus = False  # each has its key, and those that go away would hand the focus on
        self.follow("progress", self._show_channels)
        self.follow("wiggle", self._show)
        self.query_one("#wiggle-channels", RowList).focus()

    @property
    def view(self) -> WiggleView:
        """The test as it stands."""
        return self.console_app.wiggle

    def watch_chosen(self) -> None:
        """Show what is chosen."""
        if self.is_mounted:
            self._show_channels()
            self._show_state()

    def watch_held(self) -> None:
        """Show the way."""
        if self.is_mounted:
            self._show_state()

    def _show_channels(self) -> None:
        fitted = [channel for channel in self.console_app.progress.channels if channel.fitted]
        watching = self.view.watching
        self.query_one("#wiggle-channels", RowList).show(
            [channel_row(c, c.channel in self.chosen, c.channel == watching) for c in fitted]
        )
        places = dict.fromkeys(c.location for c in fitted if c.location)
        self.query_one("#wiggle-places", RowList).show(
            [Row(place, ((place, "plain"),), now=place == self.view.hand) for place in places]
        )

    def _show(self) -> None:
        view = self.view
        self.query_one(StripChart).view = view
        rows = self.query_one("#wiggle-rows", RowList)
        at_end = rows.cursor >= len(rows.rows) - 1
        rows.show([dropout_row(row) for row in view.rows])
        if at_end and not rows.has_focus:
            rows.cursor = len(view.rows) - 1
        self._show_channels()
        self._show_state()
        self.bindings_depend_on(view.running)

    def _show_state(self) -> None:
        view = self.view
        if view.running:
            now = f"► watching channel {view.watching}" if view.watching is not None else "… resting"
            way = "HELD ON, under current" if view.held else "at rest, nothing driven"
            text = f"{now}, {way}.  {len(view.rows)} dropouts.  Hand: {view.hand or 'not marked'}"
        else:
            names = ", ".join(str(channel) for channel in sorted(self.chosen)) or "none"
            way = "to be HELD ON, under current" if self.held else "to be watched at rest, nothing driven"
            text = f"Chosen: {names}; {way}."
        self.query_one("#wiggle-state", Static).update(text)
        sign = "✓ " if view.ok else "✗ "
        self.query_one("#wiggle-said", Static).update(
            f"{sign}{view.said}" if view.said and not view.running else view.said
        )
        self.query_one("#wiggle-begin").display = not view.running
        self.query_one("#wiggle-enough").display = view.running
        button = self.query_one("#wiggle-held", KeyButton)
        button.display = not view.running and not self.console_app.reading
        button.say("At rest instead" if self.held else "Hold on instead")

    # --- keys ---------------------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Each key only where it means something."""
        running = self.console_app.wiggle.running
        if action == "enough":
            return running
        if action == "held" and self.console_app.reading:  # it would be driven
            return False
        if action in ("begin", "held", "choose"):
            return not running
        if action == "flex":
            return self.console_app.hands is not None
        return super().check_action(action, parameters)

    def _channel(self) -> int | None:
        key = self.query_one("#wiggle-channels", RowList).key
        return int(key) if key is not None else None

    @on(RowList.Chosen, "#wiggle-channels")
    def action_choose(self) -> None:
        """Watch the channel under the cursor, or not."""
        channel = self._channel()
        if channel is not None and not self.view.running:
            self.chosen = self.chosen ^ {channel}

    def action_held(self) -> None:
        """Hold the loads on, or watch them at rest."""
        self.held = not self.held

    def action_begin(self) -> None:
        """Begin with what is chosen, or with the channel under the cursor."""
        channel = self._channel()
        channels = sorted(self.chosen) or ([channel] if channel is not None else [])
        if channels and not self.console_app.progress.running and not self.must_clear_first():
            self.query_one(Deck).bring("pane-wiggle-chart")
            self.console_app.desk.start_wiggle(tuple(channels), held=self.held)

    def action_enough(self) -> None:
        """End the test."""
        self.console_app.desk.end_wiggle()

    def action_hand(self, key: str) -> None:
        """Say where the hand is; with the cursor on a dropout, where it was."""
        self._mark(next(text for own, _, text in HAND_KEYS if own == key))

    def _mark(self, text: str) -> None:
        rows = self.query_one("#wiggle-rows", RowList)
        number = int(rows.key) if rows.has_focus and rows.key is not None else None
        self.console_app.desk.mark_hand(text, number)

    @on(RowList.Chosen, "#wiggle-places")
    def _place_chosen(self, event: RowList.Chosen) -> None:
        self.console_app.desk.mark_hand(event.key, None)

    def action_label(self) -> None:
        """Say it in own words."""

        def mark(text: str | None) -> None:
            if text:
                self._mark(text)

        self.app.push_screen(
            AskReason(
                "Where is the hand?",
                "In your own words; the record keeps them.",
                example="under the dashboard, left",
                missing="or leave it as it is",
            ),
            mark,
        )

    def action_sounds(self) -> None:
        """Change by what means it sounds."""
        self.console_app.change_sounds()

    def action_flex(self) -> None:
        """Demo: flex the loom at the channel under the cursor."""
        channel, hands = self._channel(), self.console_app.hands
        if channel is not None and hands is not None:
            hands.wiggle(channel)
            self.notify(f"Flexed the loom at channel {channel}.", timeout=2)

    @on(Button.Pressed, ".wiggle-keys KeyButton")
    def _pressed(self, event: Button.Pressed) -> None:
        event.stop()
