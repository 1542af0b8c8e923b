"""The two lines that are always in view: what the box is doing, and how to stop it."""

from __future__ import annotations

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.reactive import reactive
from textual.strip import Strip
from textual.widget import Widget

from loomproof.tui.views.panel import BoxActivity, LinkState, PanelView
from loomproof.tui.words import STOP_FACE, STOP_FACE_BROWSER, STOP_IS_NOT_LONG, STOP_IS_NOT_SHORT

Part = tuple[str, str]


def state_parts(view: PanelView) -> list[Part]:
    """Return the first line as (text, role) parts: link, supply, box, isolation, arming."""
    parts: list[Part] = []
    link_shape = {LinkState.LIVE: "●", LinkState.CONNECTING: "◌"}.get(view.link, "✗")
    box = "simulated box" if view.simulated else "box"
    named = view.link.value if view.link is LinkState.NONE else f"{box} {view.link.value}"
    parts.append((f"{link_shape} {named}", _link_role(view)))
    if view.link is LinkState.LIVE:
        volts = "supply -" if view.supply_v is None else f"supply {view.supply_v:.1f} V"
        parts.append((volts, "bad" if view.supply_v is not None and view.supply_v < 9.0 else "plain"))
        parts.append(_box_part(view))
    if view.reading:
        return [*parts, ("◇ reading only: drives nothing", "doubt")]
    if view.fuel or view.isolation_left_s is not None:
        parts.append(_isolation_part(view))
    armed = [a for a in view.armed if a.left_s > 0]
    if armed:
        parts.extend((f"▲ {a.hazard} ARMED {a.left_s:.0f} s", "live") for a in armed)
    else:
        parts.append(("○ nothing armed", "quiet"))
    if view.tripped:
        parts.append(("! tripped ch " + " ".join(str(c) for c in view.tripped), "bad"))
    return parts


def _link_role(view: PanelView) -> str:
    return {LinkState.LIVE: "good", LinkState.CONNECTING: "doubt"}.get(view.link, "bad")


def _box_part(view: PanelView) -> Part:
    if view.driving_channel and view.held:
        return f"► holding ch {view.driving_channel} ON", "live"
    if view.driving_channel and view.state == BoxActivity.SENSING:
        return f"~ watching ch {view.driving_channel}", "live"
    if view.driving_channel:
        return f"► driving ch {view.driving_channel}", "live"
    return view.state or "-", "plain"


def _isolation_part(view: PanelView) -> Part:
    if view.isolation_left_s is None:
        return "fuel not isolated", "quiet"
    if view.isolation_left_s == float("inf"):
        return "✓ fuel isolated", "good"
    minutes, seconds = divmod(int(view.isolation_left_s), 60)
    return f"✓ fuel isolated {minutes}:{seconds:02d}", "good"


def stop_parts(view: PanelView, width: int) -> list[Part]:
    """Return the second line: the stop key and its state, with what the key does not replace."""
    if view.stop_input_open:
        return [
            (" ■ STOPPED by its switch ", "stop"),
            (" All off. Close it, then Ctrl+R.", "plain"),
        ]
    if view.stopped:
        why = f" ({view.stop_reason})" if view.stop_reason else ""
        return [
            (f" ■ STOPPED{why} ", "stop"),
            (" All off. Find out why; Ctrl+R clears it.", "plain"),
        ]
    face = STOP_FACE_BROWSER if view.reading else STOP_FACE
    note = STOP_IS_NOT_LONG if width > len(face) + len(STOP_IS_NOT_LONG) + 3 else STOP_IS_NOT_SHORT
    return [(f" {face} ", "stop"), (f" {note}", "plain")]


def fitted_line(view: PanelView, width: int) -> list[Part]:
    """Return the first line so that it fits: never cutting what is armed; a question gives way first."""
    full = state_parts(view)
    short = [(_shorter(text), role) for text, role in full]
    asks = (f"? {view.waiting}", "? press 1", "? 1") if view.waiting else ("",)
    for ask in asks:
        for state in (full, short):
            for separator in ("  │  ", " │ ", "  ", " "):
                joined = _joined([(ask, "waiting"), *state] if ask else state, separator)
                if sum(len(text) for text, _ in joined) <= width:
                    return joined
    return joined


_SHORTER = {
    "simulated ": "sim ",
    "supply ": "",
    "fuel not isolated": "not isolated",
    "fuel isolated": "isolated",
    "tripped ch": "trip",
    "driving ch": "ch",
    "reading only: drives nothing": "reading only",
    "watching ch": "ch",
    "holding ch": "ch",
}


def _shorter(text: str) -> str:
    for long, brief in _SHORTER.items():
        text = text.replace(long, brief)
    return text


class StatusBar(Widget):
    """Link, supply, isolation and arming with the time left, and the stop. A click on the stop presses it."""

    COMPONENT_CLASSES = {
        f"status--{role}" for role in ("good", "bad", "doubt", "quiet", "live", "plain", "stop", "waiting")
    }

    view: reactive[PanelView] = reactive(PanelView())

    def _styled(self, parts: list[Part]) -> list[Segment]:
        return [Segment(text, self._role(role)) for text, role in parts]

    def _role(self, role: str) -> Style:
        return self.get_component_rich_style(f"status--{role}")

    def render_line(self, y: int) -> Strip:
        """Return one of the two lines."""
        width = self.size.width
        parts = self._first_line(width) if y == 0 else stop_parts(self.view, width)
        return Strip(self._styled(parts)).adjust_cell_length(width, self.rich_style)

    def _first_line(self, width: int) -> list[Part]:
        return fitted_line(self.view, width)

    def on_click(self, event: events.Click) -> None:
        """Stop when the stop part is clicked."""
        stop_width = len(stop_parts(self.view, self.size.width)[0][0])
        if event.y == 1 and event.x < stop_width:
            self.app.run_worker(self.app.run_action("stop"))


def _joined(parts: list[Part], separator: str) -> list[Part]:
    joined: list[Part] = []
    for index, part in enumerate(parts):
        if index:
            joined.append((separator, "quiet"))
        joined.append(part)
    return joined
