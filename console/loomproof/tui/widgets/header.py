"""The face of a header: every cavity where it lies, what is in it, and the one of the channel looked at."""

from __future__ import annotations

from dataclasses import dataclass, replace

from rich.segment import Segment
from textual.reactive import reactive
from textual.strip import Strip
from textual.widget import Widget

from loomproof.tui.views.header import CavityView, HeaderView
from loomproof.tui.words import LIVE_SIGNS, Live, Sign, verdict_sign

Part = tuple[str, str]
Line = list[Part]

FULL, BRIEF = 5, 3
"""Cells inside a cavity: with its wire colour, or where the header is wide."""
LEGEND = "Above: cavity. Below: channel and ✓ pass ✗ FAIL ? unsure · not tested"
LEGEND_SHORT = "channel, ✓ pass ✗ FAIL ? unsure · to do"


@dataclass(frozen=True)
class Window:
    """The part of a face that fits: first row and column, and how many of each."""

    row: int
    rows: int
    column: int
    columns: int


def window(extent: int, room: int, at: int) -> tuple[int, int]:
    """Return where a run of `room` out of `extent` starts so that it holds `at`, and how long it is."""
    count = max(1, min(extent, room))
    return max(0, min(at - count // 2, extent - count)), count


def cavity_sign(cavity: CavityView) -> Sign:
    """Return the sign of a cavity: what its channel does, else what is proven of it."""
    if cavity.live in (Live.DRIVEN, Live.SENSED, Live.TRIPPED):
        return LIVE_SIGNS[cavity.live]
    return verdict_sign(cavity.verdict)


def _inside(number: int, cavity: CavityView | None, inner: int) -> list[Part]:
    """Return the lines inside one cavity: number, wire where there is room, then channel and sign."""
    if number == 0:
        return [("░" * inner, "quiet")] * (3 if inner == FULL else 2)
    top = (f"{number:^{inner}}", "plain")
    if cavity is None:
        lines = [(" " * inner, "quiet")]
    elif cavity.channel is None:
        lines = [(f"+{cavity.feed}"[:inner].center(inner), "quiet")]
    else:
        sign = cavity_sign(cavity)
        lines = [(f"{cavity.channel:>2}{sign.shape}".center(inner), sign.role)]
    if inner == FULL:
        lines.insert(0, ((cavity.wire if cavity else "").center(inner), "quiet"))
    return [top, *lines]


def fitting(view: HeaderView, width: int, height: int, marked: int | None) -> tuple[int, Window]:
    """Return how many cells a cavity gets inside, and the part of the face that fits.

    Args:
        view: the header.
        width: cells across.
        height: lines.
        marked: the cavity that must be in the part; None: none.
    """
    rows, columns = len(view.rows), len(view.rows[0])
    inner = FULL if columns * (FULL + 1) + 1 <= width and rows * 4 + 1 <= height else BRIEF
    lines = 4 if inner == FULL else 3
    at_row, at_column = next(
        ((r, row.index(marked)) for r, row in enumerate(view.rows) if marked in row),
        (0, 0),
    )
    first_row, row_count = window(rows, (height - 1) // lines, at_row)
    first_column, column_count = window(columns, (width - 1) // (inner + 1), at_column)
    return inner, Window(first_row, row_count, first_column, column_count)


def draw_face(view: HeaderView, inner: int, shown: Window, marked: int | None) -> list[Line]:
    """Return the face as lines of (text, role); the marked cavity has a heavy frame and is reversed.

    Args:
        view: the header.
        inner: cells inside a cavity.
        shown: the part of the face to draw.
        marked: the number of the marked cavity; None: none.
    """
    known = {cavity.number: cavity for cavity in view.cavities}
    rows = [
        row[shown.column : shown.column + shown.columns]
        for row in view.rows[shown.row : shown.row + shown.rows]
    ]
    lines: list[Line] = []
    for index, row in enumerate(rows):
        above = rows[index - 1] if index else None
        lines.append(_rule(row, above, inner, marked))
        inside = [_inside(number, known.get(number), inner) for number in row]
        for level in range(len(inside[0])):
            line: Line = []
            for column, number in enumerate(row):
                heavy = marked is not None and marked in (number, row[column - 1] if column else None)
                line.append(("┃" if heavy else "│", "mark" if heavy else "quiet"))
                text, role = inside[column][level]
                line.append((text, "marked" if number == marked else role))
            heavy = marked is not None and row[-1] == marked
            line.append(("┃" if heavy else "│", "mark" if heavy else "quiet"))
            lines.append(line)
    lines.append(_rule(None, rows[-1], inner, marked))
    return lines


def _rule(
    below: tuple[int, ...] | None, above: tuple[int, ...] | None, inner: int, marked: int | None
) -> Line:
    """Return the line between two rows of cavities; `None` is outside the face."""
    side = below or above or ()
    ends = ("┌┬┐" if above is None else "└┴┘") if below is None or above is None else "├┼┤"
    line: Line = []
    for column in range(len(side) + 1):
        corner = ends[0] if column == 0 else (ends[2] if column == len(side) else ends[1])
        heavy = _corner(below, above, column, marked)
        line.append((heavy or corner, "mark" if heavy else "quiet"))
        if column < len(side):
            here = marked is not None and marked in (row[column] for row in (below, above) if row is not None)
            line.append((("━" if here else "─") * inner, "mark" if here else "quiet"))
    return line


def _corner(
    below: tuple[int, ...] | None, above: tuple[int, ...] | None, column: int, marked: int | None
) -> str:
    """Return the corner of the marked cavity's frame that is left of a column, empty if none is."""
    if marked is None:
        return ""
    for row, left, right in ((below, "┏", "┓"), (above, "┗", "┛")):
        if row is not None and column < len(row) and row[column] == marked:
            return left
        if row is not None and column and row[column - 1] == marked:
            return right
    return ""


def flipped(view: HeaderView) -> HeaderView:
    """Return the header from its other side."""
    other = "mating" if view.seen_from in ("wire", "") else "wire"
    seen = other if view.seen_from else ""
    return replace(view, rows=tuple(row[::-1] for row in view.rows), seen_from=seen)


def side_text(view: HeaderView, mirrored: bool) -> str:
    """Return which side is seen, as far as the job says."""
    if not view.seen_from:
        return "side not stated in the job" + (", mirrored" if mirrored else "")
    side = "mating side" if view.seen_from == "mating" else "wire side"
    return f"seen from the {side.upper()}" + (" (mirrored)" if mirrored else "")


def caption(view: HeaderView, marked: int | None, width: int) -> list[Line]:
    """Return what is in the marked cavity, in two lines."""
    cavity = next((c for c in view.cavities if c.number == marked), None)
    if marked is None or cavity is None:
        return [[(f"{view.id}: no channel chosen here", "quiet")], [("", "plain")]]
    sign = cavity_sign(cavity)
    what = f"channel {cavity.channel}, {cavity.name}" if cavity.channel else f"feed {cavity.name}"
    wire = f"wire {cavity.wire} ({cavity.colours})" if cavity.wire else "wire colour not stated"
    first: Line = [(f"┃{view.id}-{marked}┃ {what}"[:width], "plain")]
    return [first, [(f"{sign} ", sign.role), (wire[: max(width - len(str(sign)) - 1, 0)], "quiet")]]


def draw_header(
    view: HeaderView, width: int, height: int, marked: int | None, *, mirrored: bool, number: str = ""
) -> list[Line]:
    """Return the whole picture: name, side, face, and the marked cavity in words.

    Args:
        view: the header.
        width: cells across.
        height: lines.
        marked: the number of the marked cavity; None: none.
        mirrored: draw it from its other side.
        number: which of several headers it is, in words; empty: it is the only one.
    """
    if mirrored:
        view = flipped(view)
    head: list[Line] = [
        [(f"{view.id} {view.name}{number}"[:width], "mark")],
        [(side_text(view, mirrored)[:width], "plain")],
    ]
    tail = caption(view, marked, width)
    legend = LEGEND if len(LEGEND) <= width else LEGEND_SHORT
    room = height - len(head) - len(tail) - 1
    inner, shown = fitting(view, width, room, marked)
    hidden = _hidden(view, shown)
    if hidden:
        inner, shown = fitting(view, width, room - 1, marked)
        hidden = _hidden(view, shown)
        head.append([(hidden[:width], "quiet")])
    return [*head, *draw_face(view, inner, shown, marked), *tail, [(legend[:width], "quiet")]]


def _hidden(view: HeaderView, shown: Window) -> str:
    rows, columns = len(view.rows), len(view.rows[0])
    parts = [
        (shown.column, "column", "◄"),
        (columns - shown.column - shown.columns, "column", "►"),
        (shown.row, "row", "▲"),
        (rows - shown.row - shown.rows, "row", "▼"),
    ]
    texts = [f"{n} {what}{'s' if n > 1 else ''} {arrow}" for n, what, arrow in parts if n]
    return f"more: {', '.join(texts)}" if texts else ""


class HeaderPicture(Widget):
    """Draws the header that holds the marked cavity. `m` on the page mirrors it, `h` shows the next header."""

    COMPONENT_CLASSES = {
        f"header--{role}" for role in ("good", "bad", "doubt", "quiet", "live", "plain", "mark", "marked")
    }

    views: reactive[tuple[HeaderView, ...]] = reactive(())
    chosen: reactive[int] = reactive(0)
    marked: reactive[str] = reactive("")
    """The cavity to mark, e.g. `H1-14`."""
    mirrored: reactive[bool] = reactive(False)
    empty_text = "This job has no connector to draw."

    _drawn: tuple[object, list[Line]] | None = None

    def watch_marked(self, marked: str) -> None:
        """Show the header that holds it."""
        ids = [view.id for view in self.views]
        owner = marked.rsplit("-", 1)[0]
        if owner in ids:
            self.chosen = ids.index(owner)

    def watch_views(self) -> None:
        """A job may have fewer headers than the one before."""
        self.chosen = min(self.chosen, max(len(self.views) - 1, 0))

    def turn(self) -> None:
        """Show the next header."""
        self.chosen = (self.chosen + 1) % max(len(self.views), 1)

    def lines(self) -> list[Line]:
        """Return the picture as it fits now; drawn anew only when something in it changed."""
        key = (self.views, self.chosen, self.marked, self.mirrored, self.size)
        if self._drawn is None or self._drawn[0] != key:
            self._drawn = (key, self._draw())
        return self._drawn[1]

    def _draw(self) -> list[Line]:
        if not self.views:
            return [[(self.empty_text, "quiet")]]
        view = self.views[self.chosen]
        owner, _, number = self.marked.rpartition("-")
        marked = int(number) if owner == view.id and number.isdigit() else None
        of = f"  ({self.chosen + 1} of {len(self.views)})" if len(self.views) > 1 else ""
        return draw_header(view, self.size.width, self.size.height, marked, mirrored=self.mirrored, number=of)

    def render_line(self, y: int) -> Strip:
        """Return one line of the picture."""
        lines = self.lines()
        if y >= len(lines):
            return Strip.blank(self.size.width, self.rich_style)
        segments = [
            Segment(text, self.get_component_rich_style(f"header--{role}")) for text, role in lines[y]
        ]
        return Strip(segments).adjust_cell_length(self.size.width, self.rich_style)
