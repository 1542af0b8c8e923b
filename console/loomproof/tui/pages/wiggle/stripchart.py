"""The strip chart of a wiggle test: a lane for each channel, drawn while it is watched, dipping where it let go."""

from __future__ import annotations

import time

from rich.segment import Segment
from rich.style import Style
from textual.reactive import reactive
from textual.strip import Strip
from textual.widget import Widget

from loomproof.tui.pages.wiggle.view import Lane, WiggleView
from loomproof.tui.widgets.braille import Canvas

WINDOW_S = 30.0
REFRESH_S = 0.2
LABEL_CELLS = 8


def draw_lane(lane: Lane, canvas: Canvas, since_s: float, until_s: float) -> None:
    """Draw one lane: its level along the top while it is watched, a dip down to its depth for each dropout.

    Args:
        lane: the channel's lane.
        canvas: where it is drawn; the lane fills it.
        since_s: the time at the left edge.
        until_s: the time at the right edge.
    """

    def column(at_s: float) -> int:
        return round((at_s - since_s) / (until_s - since_s) * (canvas.width - 1))

    for begin_s, end_s in lane.spans:
        if end_s >= since_s:
            canvas.line(max(column(begin_s), 0), 0, min(column(end_s), canvas.width - 1), 0)
    for at_s, length_s, depth in lane.dips:
        if at_s + length_s < since_s:
            continue
        bottom = max(1, round(min(depth, 1.0) * (canvas.height - 1)))
        first, last = column(at_s), column(at_s + length_s)
        for x in range(first, last + 1):
            canvas.line(x, 0, x, bottom)


class StripChart(Widget):
    """The last half minute, running while the test runs."""

    COMPONENT_CLASSES = {"strip--label", "strip--watched", "strip--line", "strip--axis", "strip--empty"}

    view: reactive[WiggleView] = reactive(WiggleView())

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002 - Textual's name
        super().__init__(id=id)
        self._shown_at = 0.0
        self._lines: list[Strip] = []

    def on_mount(self) -> None:
        """Run with the clock."""
        self.set_interval(REFRESH_S, self._run_on)

    def watch_view(self) -> None:
        """Take a new view."""
        self._shown_at = time.monotonic()
        self._lines = []
        self.refresh()

    def on_resize(self) -> None:
        """Draw anew."""
        self._lines = []

    def _run_on(self) -> None:
        if self.view.running and self.view.watching is not None:
            self._lines = []
            self.refresh()

    def now_s(self) -> float:
        """The present on the chart's axis."""
        view = self.view
        moving = view.running and view.watching is not None
        return view.now_s + (time.monotonic() - self._shown_at if moving else 0.0)

    def render_line(self, y: int) -> Strip:
        """Return one line of the chart."""
        if not self._lines:
            self._lines = self._build()
        width = self.size.width
        return self._lines[y] if y < len(self._lines) else Strip.blank(width, self.rich_style)

    def _build(self) -> list[Strip]:
        width, height = self.size
        lanes = self.view.lanes
        if not lanes:
            text = "No test yet: choose channels with space, then press g."
            return [
                Strip([Segment(text[:width], self._style("empty"))]).adjust_cell_length(
                    width, self.rich_style
                )
            ]
        now_s = self.now_s()
        until_s = max(now_s, WINDOW_S)
        shown = lanes[: max(1, (height - 1) // 2)]
        rows = max(1, (height - 1) // len(shown))
        lines = []
        for lane in shown:
            lines += self._lane(lane, rows, width, until_s - WINDOW_S, until_s, now_s)
        more = f"  {len(lanes) - len(shown)} more not shown" if len(shown) < len(lanes) else ""
        axis = f"{'':>{LABEL_CELLS}}{until_s - WINDOW_S:.0f} s"
        end = f"{until_s:.0f} s"
        axis = axis + more + " " * max(1, width - len(axis) - len(more) - len(end)) + end
        lines.append(Strip([Segment(axis[:width], self._style("axis"))]))
        return [line.adjust_cell_length(width, self.rich_style) for line in lines]

    def _lane(  # noqa: PLR0917 - a picture's own measures
        self, lane: Lane, rows: int, width: int, since_s: float, until_s: float, now_s: float
    ) -> list[Strip]:
        watched = lane.channel == self.view.watching
        if watched and lane.spans:
            lane = Lane(lane.channel, lane.label, (*lane.spans[:-1], (lane.spans[-1][0], now_s)), lane.dips)
        canvas = Canvas(max(width - LABEL_CELLS, 1), rows)
        draw_lane(lane, canvas, since_s, until_s)
        label = f"{'►' if watched else ' '}ch {lane.channel:<3}"
        style = self._style("watched" if watched else "label")
        found = []
        for number, line in enumerate(canvas.lines()):
            head = f"{label:<{LABEL_CELLS}}" if number == 0 else " " * LABEL_CELLS
            found.append(Strip([Segment(head, style), Segment(line, self._style("line"))]))
        return found

    def _style(self, name: str) -> Style:
        return self.get_component_rich_style(f"strip--{name}")
