"""The walk page: what to pull next in letters to be read from the engine bay, the places, the engine, the moves."""

from __future__ import annotations

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, VerticalScroll
from textual.widgets import Button, Static

from loomproof.procedure.walk.model import Order, WalkKey
from loomproof.tui.pages.frame import Deck, Page, Pane, pane_tabs
from loomproof.tui.pages.walk.view import WalkRow, WalkStage, WalkView
from loomproof.tui.widgets.bigtext import BigText
from loomproof.tui.widgets.engine import EnginePicture
from loomproof.tui.widgets.keys import KeyButton
from loomproof.tui.widgets.row_list import Row, RowList

RUNNING_KEYS = (
    ("space", "nothing", "Nothing happened"),
    ("n", "no", "Not this one"),
    ("k", "skip", "Skip"),
    ("o", "leave_off", "Leave off"),
    ("f", "order", "Free order"),
    ("e", "finish", "End"),
)
IDLE_KEYS = (
    ("g", "guided", "Walk, guided"),
    ("f", "order", "Walk, free order"),
    ("d", "pulsed", "Drive what was not seen"),
)


def place_row(row: WalkRow) -> Row:
    """Return the line of one place."""
    return Row(
        row.id,
        ((f"{row.shape} {row.word:<11} ", row.role), (f"{row.name}  ", "plain")),
        wide=((row.found, "quiet"),),
        now=row.asked,
    )


class WalkPage(Page):
    """The location walk."""

    NAME = "walk"
    STANDS_TALL = True
    BINDINGS = [
        Binding("g", "guided", "Walk, guided", show=False),
        Binding("f", "order", "Free or guided order", show=False),
        Binding("space", "nothing", "Pulled, and nothing happened", show=False),
        Binding("n", "no", "Not this one", show=False),
        Binding("k", "skip", "Skip this place", show=False),
        Binding("o", "leave_off", "It stays off", show=False),
        Binding("h", "here", "What is off now is the chosen place", show=False),
        Binding("e", "finish", "End the walk", show=False),
        Binding("d", "pulsed", "Drive what was not seen", show=False),
        Binding("m", "sounds", "Sounds", tooltip="Bell, tones, voice or silence"),
        Binding("p", "hand", "Hand", tooltip="Demo: pull what is asked for, or seat it"),
    ]
    HELP = """\
# Walk

Go round the engine and pull and seat one connector after another. The box sees which channel lost its load; you
need no key: listen, or keep an eye on the large letters. Nothing is driven: pins are read at rest, and only where a
pin shows nothing, sense pulses that are too short to move or spark anything.

* **g** walks in guided order: the console names the next place. **f** walks in free order: pull any connector, and the
  console says which place it takes it for. **f** during a walk changes the order.
* **Right**: the sound goes up, the letters say *seat it*. Go on to the next.
* **Not as expected**: three low sounds. Seat it and pull it once more; only what happens twice is believed.
* **Not what you hold?** Seat it and pull the same connector again within two seconds. Or press **n**.
* **Nothing happened?** **space** says so, once it is pulled. Without a key the walk moves on after half a minute and
  asks once more. At the end, places that moved nothing are pulled together, to find joined wires.
* **k** skips a place, **o** lets a connector stay off, **h** says that what is off now is the place chosen in
  the list (free order), **e** ends the walk. What is settled is in the record; the walk carries on later.
* **m** changes between bell, tones, a voice and silence. Tones beep out the cylinder: a long beep for five.
* Repaired something after the walk? **g** or **f** asks again for what was not right, or for everything if all was
  right. What was found before stays in the record, and counts until there is a new answer.
* **d** at the end drives what a walk cannot see; the interlocks hold as always.

Pulling a connector cannot distinguish the wires in it.
"""

    def compose_body(self) -> ComposeResult:
        """Lay out the panes."""
        with Deck(id="walk-deck"):
            with Horizontal(classes="pane-line"):
                yield from pane_tabs("Now", "Places", "Engine", "Mend")
            with Pane(title="Now", id="pane-walk-now"):
                yield Static(id="walk-caption", markup=False)
                yield BigText(id="walk-headline")
                yield Static(id="walk-detail", markup=False)
                yield Static(id="walk-note", markup=False)
                with Horizontal(id="walk-keys"):
                    for key, action, label in (*RUNNING_KEYS, *IDLE_KEYS):
                        running = "-running" if (key, action, label) in RUNNING_KEYS else "-idle"
                        yield KeyButton(key, label, action=f"screen.{action}", classes=f"{running} -{action}")
            with Pane(title="Places", id="pane-walk-places"):
                yield RowList(id="walk-places")
                yield Static(id="walk-found", markup=False)
            with Pane(title="Engine", id="pane-walk-engine"):
                yield EnginePicture()
            with Pane(title="Mend", id="pane-walk-mend"), VerticalScroll(can_focus=False):
                yield Static(id="walk-moves", markup=False)

    def on_mount(self) -> None:
        """Follow the walk."""
        super().on_mount()
        places = self.query_one("#walk-places", RowList)
        places.empty_text = "The places appear when the box is connected."
        for button in self.query("#walk-keys KeyButton"):
            button.can_focus = False  # each has its key, and those that go away would hand the focus on
        self.follow("walk", self._show)
        self.follow("sound_means", self._show_note)
        places.focus()

    @property
    def view(self) -> WalkView:
        """The walk as it stands."""
        return self.console_app.walk

    def _show(self) -> None:
        view = self.view
        headline = self.query_one(BigText)
        headline.text, headline.tone = view.headline or "Location walk", view.tone
        count = f"   {view.known} of {view.total}" if view.total else ""
        after = "next one" if view.holding else "moves on"
        clock = f"   {after} in {view.left_s:.0f} s" if view.left_s is not None else ""
        self.query_one("#walk-caption", Static).update(f"{view.caption}{count}{clock}")
        self.query_one("#walk-detail", Static).update(view.detail)
        self._show_note()
        self.query_one("#walk-places", RowList).show([place_row(row) for row in view.rows])
        self.query_one(EnginePicture).view = view.engine
        moves = "\n".join(view.moves) or "Nothing to move: no wire is known to sit in a wrong cavity."
        if view.asked is not None and view.asked != self._followed:
            self._followed = view.asked
            self.query_one("#walk-places", RowList).go_to(view.asked)
        if view.stage == WalkStage.DONE and self._stage != WalkStage.DONE:
            wrong = next((row.id for row in view.rows if row.role == "bad"), None)
            if wrong is not None:
                self.query_one("#walk-places", RowList).go_to(wrong)
        self._stage = view.stage
        self.query_one("#walk-moves", Static).update(moves)
        self.set_class(view.running, "-walking")
        for button in self.query("#walk-keys KeyButton").results(KeyButton):
            button.display = button.has_class("-running" if view.running else "-idle") and self._offered(
                button
            )
        order = self.query_one("#walk-keys .-order.-running", KeyButton)
        order.say("Guided order" if view.order == Order.FREE else "Free order")
        self._show_found()
        self.bindings_depend_on((view.running, bool(view.pulsed)))

    def _offered(self, button: KeyButton) -> bool:
        return button.action != "screen.pulsed" or bool(self.view.pulsed)

    def _show_note(self) -> None:
        parts = [self.view.blind, f"Sounds: {self.console_app.sound_means} (m)."]
        crowded = self.folded and (self.view.running or bool(self.view.blind))
        if self.console_app.hands is not None and not crowded:
            parts.append("Demo: p is your hand, it pulls what is asked for and seats it.")
        self.query_one("#walk-note", Static).update(" ".join(part for part in parts if part))

    @on(RowList.Highlighted, "#walk-places")
    def _show_found(self) -> None:
        key = self.query_one("#walk-places", RowList).key
        row = next((row for row in self.view.rows if row.id == key), None)
        where = f" ({row.where})" if row is not None and row.where else ""
        text = f"{row.name}{where}: {row.found}" if row is not None else ""
        self.query_one("#walk-found", Static).update(text)

    # --- keys ---------------------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Each key only where it means something."""
        running = self.console_app.walk.running
        if action in ("nothing", "no", "skip", "leave_off", "finish", "here"):
            return running
        if action == "guided":
            return not running and not self.console_app.progress.running
        if action == "pulsed":
            return not running and bool(self.view.pulsed)
        if action == "hand":
            return running and self.console_app.hands is not None
        return super().check_action(action, parameters)

    def action_guided(self) -> None:
        """Walk in guided order."""
        if self.must_clear_first():
            return
        self.query_one(Deck).bring("pane-walk-now")
        self.console_app.desk.start_walk(free=False)

    def action_order(self) -> None:
        """Walk in free order, or change the order of the walk under way."""
        if self.view.running:
            self.console_app.desk.walk_key(WalkKey.ORDER)
        elif not self.console_app.progress.running and not self.must_clear_first():
            self.query_one(Deck).bring("pane-walk-now")
            self.console_app.desk.start_walk(free=True)

    def action_nothing(self) -> None:
        """It is pulled and nothing happened."""
        self.console_app.desk.walk_key(WalkKey.NOTHING)

    def action_no(self) -> None:
        """Not this one."""
        self.console_app.desk.walk_key(WalkKey.NO)

    def action_skip(self) -> None:
        """Skip the place."""
        self.console_app.desk.walk_key(WalkKey.SKIP)

    def action_leave_off(self) -> None:
        """It stays off."""
        self.console_app.desk.walk_key(WalkKey.LEAVE_OFF)

    def action_finish(self) -> None:
        """End the walk."""
        self.console_app.desk.walk_key(WalkKey.FINISH)

    def action_here(self) -> None:
        """What is off now is the place under the cursor."""
        key = self.query_one("#walk-places", RowList).key
        if key is not None:
            self.console_app.desk.walk_key(WalkKey.HERE, key)

    def action_sounds(self) -> None:
        """Change by what means it sounds."""
        self.console_app.change_sounds()

    def action_pulsed(self) -> None:
        """Run the drive steps of what the walk could not see."""
        if self.view.pulsed:
            self.console_app.desk.run_steps(self.view.pulsed)
            self.app.run_worker(self.app.run_action("app.page('sheet')"))

    def action_hand(self) -> None:
        """Demo: the hand pulls what is asked for, or seats what it pulled."""
        hands, view = self.console_app.hands, self.view
        if hands is None:
            return
        leave_off = view.holding and view.stage != WalkStage.SEAT
        if (
            self._pulled
            and not leave_off
            and (view.stage == WalkStage.SEAT or self._pulled[-1] != view.asked)
        ):
            for place in self._pulled:
                hands.seat(place)
            self._pulled.clear()
        elif view.asked is not None and view.asked not in self._pulled:
            self._pulled.append(view.asked)
            hands.pull(view.asked)
        elif view.asked is None:
            self._pull_chosen()

    _pulled: list[str]
    _followed: str | None = None
    _stage = WalkStage.IDLE

    def __init__(self) -> None:
        super().__init__()
        self._pulled = []

    def _pull_chosen(self) -> None:
        """In free order the hand takes the place under the cursor."""
        key = self.query_one("#walk-places", RowList).key
        if key is not None and self.console_app.hands is not None and key not in self._pulled:
            self._pulled.append(key)
            self.console_app.hands.pull(key)

    @on(Button.Pressed, "#walk-keys KeyButton")
    def _pressed(self, event: Button.Pressed) -> None:
        event.stop()
