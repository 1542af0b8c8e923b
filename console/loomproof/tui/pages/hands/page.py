"""The hands page of the demo: pull, seat and flex the loom, switch its supply, press its stop switch."""

from __future__ import annotations

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal
from textual.reactive import reactive
from textual.widgets import Button, Static

from loomproof.tui.pages.frame import Page, Pane
from loomproof.tui.widgets.keys import KeyButton
from loomproof.tui.widgets.row_list import Row, RowList

INTRO = (
    "This page plays your hands. On a real job you would walk to the engine; here you pull and seat the "
    "simulated connectors by key or click. The console learns of it only through the box."
)


class HandsPage(Page):
    """The simulated loom's connectors, supply and stop switch."""

    NAME = "hands"
    BINDINGS = [
        Binding("p", "pull", "Pull the connector", show=False),
        Binding("s", "seat", "Seat the connector", show=False),
        Binding("f", "flex", "Flex the loom there", show=False),
        Binding("b", "supply", "Battery on or off", show=False),
        Binding("x", "stop_input", "Stop switch", show=False),
    ]
    HELP = f"""\
# Hands

{INTRO}

* **up**, **down** choose a connector; **p** pulls it, **s** seats it, **f** flexes the loom there.
* **b** switches the supply, **x** opens and closes the box's stop switch.

During a pull check: stay on this page, pull the connector you were asked for, seat it again, and go back
to the run sheet with **1**. The question also stands in the line above.
"""
    pulled: reactive[frozenset[int]] = reactive(frozenset())
    supply_on: reactive[bool] = reactive(True)
    stop_open: reactive[bool] = reactive(False)

    def compose_body(self) -> ComposeResult:
        """Lay out the connectors and the switches."""
        with Pane(title="Your hands on the simulated loom", id="pane-hands"):
            yield Static(INTRO, id="hands-intro", markup=False)
            yield Static(id="hands-question", markup=False)
            yield RowList(id="hands-list")
            yield Static(id="hands-state", markup=False)
            with Horizontal(id="hands-keys"):
                yield KeyButton("p", "Pull", id="pull")
                yield KeyButton("s", "Seat", id="seat")
                yield KeyButton("f", "Flex", id="flex")
                yield KeyButton("b", "Battery", id="supply")
                yield KeyButton("x", "Stop switch", id="stop_input")

    def on_mount(self) -> None:
        """Follow the channels and the question."""
        super().on_mount()
        self.query_one("#hands-list", RowList).empty_text = "This job has no connectors to pull."
        self.watch(self.app, "progress", self._show)
        self.watch(self.app, "prompt", self._show_question)
        self.query_one("#hands-list", RowList).focus()

    def _show_question(self) -> None:
        prompt = self.console_app.prompt
        widget = self.query_one("#hands-question", Static)
        widget.update(f"? {prompt.title}. {prompt.text}" if prompt else "")
        widget.display = prompt is not None
        if prompt is not None and prompt.channel is not None:
            self.query_one("#hands-list", RowList).go_to(str(prompt.channel))

    def _show(self) -> None:
        rows = []
        for channel in self.console_app.progress.channels:
            if not channel.fitted:
                continue
            out = channel.channel in self.pulled
            sign = ("◇ pulled ", "doubt") if out else ("◆ seated ", "plain")
            place = channel.location or channel.name
            rows.append(
                Row(str(channel.channel), (sign, (f"{place:<30} ", "plain"), (channel.load, "quiet")))
            )
        self.query_one("#hands-list", RowList).show(rows)
        supply = "on" if self.supply_on else "OFF"
        switch = "OPEN (box stopped)" if self.stop_open else "closed"
        self.query_one("#hands-state", Static).update(f"Battery: {supply}    Stop switch: {switch}")

    def _channel(self) -> int | None:
        key = self.query_one("#hands-list", RowList).key
        return int(key) if key is not None else None

    def _in_one_connector(self, channel: int) -> frozenset[int]:
        """Return the channels whose wires share the connector of one: a hand pulls all of them."""
        channels = [c for c in self.console_app.progress.channels if c.fitted]
        place = next((c.location for c in channels if c.channel == channel), "")
        return frozenset(c.channel for c in channels if place and c.location == place) | {channel}

    @on(Button.Pressed, "#hands-keys Button")
    async def _pressed(self, event: Button.Pressed) -> None:
        await self.run_action(f"screen.{event.button.id}")

    def action_pull(self) -> None:
        """Pull the connector."""
        channel, hands = self._channel(), self.console_app.hands
        if channel is not None and hands is not None:
            for held in (together := self._in_one_connector(channel)):
                hands.pull(held)
            self.pulled = self.pulled | together
            self._show()

    def action_seat(self) -> None:
        """Seat the connector."""
        channel, hands = self._channel(), self.console_app.hands
        if channel is not None and hands is not None:
            for held in (together := self._in_one_connector(channel)):
                hands.seat(held)
            self.pulled = self.pulled - together
            self._show()

    def action_flex(self) -> None:
        """Flex the loom at the connector."""
        channel, hands = self._channel(), self.console_app.hands
        if channel is not None and hands is not None:
            hands.wiggle(channel)
            self.notify(f"Flexed the loom at channel {channel}.", timeout=2)

    def action_supply(self) -> None:
        """Switch the supply."""
        if self.console_app.hands is not None:
            self.supply_on = not self.supply_on
            self.console_app.hands.supply(self.supply_on)
            self._show()

    def action_stop_input(self) -> None:
        """Open or close the stop switch."""
        if self.console_app.hands is not None:
            self.stop_open = not self.stop_open
            self.console_app.hands.stop_input(self.stop_open)
            self._show()
