"""The engine as it lies in the bay: cylinders by bank, what is proven at each, and the one that is live."""

from __future__ import annotations

from collections.abc import Sequence

from rich.segment import Segment
from textual.reactive import reactive
from textual.strip import Strip
from textual.widget import Widget

from loomproof.facts.verdict import Verdict
from loomproof.tui.views.channel import ChannelView
from loomproof.tui.views.engine import CylinderView, EngineView
from loomproof.tui.words import LIVE_SIGNS, Live, Sign, verdict_sign

Part = tuple[str, str]
Line = list[Part]

_GRAVITY: tuple[Verdict | Live, ...] = (
    Live.DRIVEN,
    Live.TRIPPED,
    Verdict.FAIL,
    Verdict.UNSURE,
    Verdict.NOT_TESTED,
    Verdict.NOT_FITTED,
    Verdict.PASS,
)
"""What a letter that stands for several loads shows, the first that any of them has."""
WIDE, SLIM = 6, 4
"""Cells inside a cylinder's box: with the word LIVE, or where the bay is crowded."""


def _marks(cylinder: CylinderView, inner: int) -> Line:
    gap = " " if inner >= WIDE else ""
    return [
        (f"{gap}{letter}{sign.shape}", "live" if cylinder.live else sign.role)
        for letter, sign in combined(cylinder.marks)
    ]


def mark_sign(mark: Verdict | Live) -> Sign:
    """Return the sign of a load: what it does now, else what is proven of it."""
    return verdict_sign(mark) if isinstance(mark, Verdict) else LIVE_SIGNS[mark]


def combined(marks: Sequence[tuple[str, Verdict | Live]]) -> list[tuple[str, Sign]]:
    """Return one sign for each letter: two injectors at a cylinder show as one, the worse."""
    worst: dict[str, Verdict | Live] = {}
    for letter, word in marks:
        if letter not in worst or _GRAVITY.index(word) < _GRAVITY.index(worst[letter]):
            worst[letter] = word
    return [(letter, mark_sign(word)) for letter, word in sorted(worst.items())][:2]


def _tall(cylinder: CylinderView, inner: int) -> list[Line]:
    live = ("LIVE" if inner >= WIDE else "►") if cylinder.live else ""
    head = f"{cylinder.number:>2}".ljust(inner - len(live)) + live
    role = "live" if cylinder.live else "plain"
    corners = "╔═╗║╚╝" if cylinder.live else "┌─┐│└┘"
    marks = _marks(cylinder, inner)
    rest = " " * (inner - sum(len(text) for text, _ in marks))
    return [
        [(corners[0] + corners[1] * inner + corners[2], role)],
        [(corners[3] + head + corners[3], role)],
        [(corners[3], role), *marks, (rest + corners[3], role)],
        [(corners[4] + corners[1] * inner + corners[5], role)],
    ]


def _flat(cylinder: CylinderView, inner: int) -> list[Line]:
    role = "live" if cylinder.live else "plain"
    left, right = ("►", "◄") if cylinder.live else ("│", "│")
    return [[(f"{left}{cylinder.number:>2}", role), *_marks(cylinder, inner), (f" {right}", role)]]


def _beside(blocks: list[list[Line]], gap: str = " ") -> list[Line]:
    """Put blocks of equal height side by side."""
    lines: list[Line] = []
    for row in range(len(blocks[0])):
        line: Line = []
        for index, block in enumerate(blocks):
            if index:
                line.append((gap, "quiet"))
            line.extend(block[row])
        lines.append(line)
    return lines


def _blank(block: list[Line]) -> list[Line]:
    return [[(" " * sum(len(text) for text, _ in line), "plain")] for line in block]


def _banks(view: EngineView) -> list[list[CylinderView]]:
    banks: dict[int, list[CylinderView]] = {}
    for cylinder in view.cylinders:
        banks.setdefault(cylinder.bank, []).append(cylinder)
    return [sorted(banks[bank], key=lambda c: c.place) for bank in sorted(banks)]


_VALLEYS = {"vee": ("╲ ╱", "╲╱"), "flat": ("═══", "══")}


def _crosswise(view: EngineView, tall: bool, inner: int, width: int) -> list[Line]:
    draw = _tall if tall else _flat
    lines: list[Line] = []
    for index, bank in enumerate(_banks(view)):
        if index and view.layout in _VALLEYS:
            label = "  V between the banks" if view.layout == "vee" else "  crankshaft between the banks"
            lines.append([(_VALLEYS[view.layout][0] + label, "quiet")])
        blocks = [draw(cylinder, inner) for cylinder in bank]
        each = sum(len(text) for text, _ in blocks[0][0]) + 1
        fits = max(1, (width + 1) // each)
        for first in range(0, len(blocks), fits):
            if first:
                lines.append([("... the bank goes on to the right:", "quiet")])
            lines.extend(_beside(blocks[first : first + fits]))
    return lines


def _lengthwise(view: EngineView, tall: bool, inner: int, width: int) -> list[Line]:
    del width  # two banks at most
    draw = _tall if tall else _flat
    banks = _banks(view)
    gap = f" {_VALLEYS[view.layout][1]} " if view.layout in _VALLEYS else "    "
    empty = _blank(draw(view.cylinders[0], inner))
    lines: list[Line] = []
    for row in range(max(len(bank) for bank in banks)):
        lines.extend(_beside([draw(bank[row], inner) if row < len(bank) else empty for bank in banks], gap))
    return lines


def firing_line(view: EngineView) -> Line:
    """Return the firing order with the live cylinder in brackets."""
    live = {cylinder.number for cylinder in view.cylinders if cylinder.live}
    line: Line = [("Fires ", "quiet")]
    for index, number in enumerate(view.firing_order):
        if index:
            line.append(("-", "quiet"))
        line.append((f"[{number}]", "live") if number in live else (str(number), "plain"))
    return line


LEGEND = ("I injector  S spark", "✓ pass  ✗ FAIL  ? unsure  · not tested")
FRONT = "▲ front of the vehicle"


def _bay(view: EngineView, width: int, tall: bool) -> list[Line]:
    """Return the cylinders with the vehicle's front above them and the ends of the crankshaft marked."""
    across = view.orientation == "crosswise"
    place = _crosswise if across else _lengthwise
    longest = max(len(bank) for bank in _banks(view)) if across else 1
    inner = WIDE if longest * (WIDE + 3) - 1 <= width else SLIM
    body = place(view, tall, inner, width)
    if not view.start_text:
        return [[(FRONT, "mark")], *body]
    if across:
        span = max(sum(len(text) for text, _ in line) for line in body)
        left, right = f"◄ {view.start_text}", f"{view.end_text} ►"
        gap = max(span - len(left) - len(right), 2)
        return [[(FRONT, "mark")], [(f"{left}{' ' * gap}{right}", "quiet")], *body]
    return [
        [(FRONT, "mark"), (f"   ┬ {view.start_text} of the crank", "quiet")],
        *body,
        [(f"┴ {view.end_text}", "quiet")],
    ]


def draw_engine(view: EngineView, width: int, height: int) -> list[Line]:
    """Return the picture as lines of (text, role): boxes where they fit, one line per cylinder where not."""
    head: list[Line]
    if not view.cylinders:
        head = [[("No engine in this job: loads by place", "mark")]] if view.elsewhere else []
        return [*head, *_elsewhere(view, width, height - len(head))]
    head = [[(_title(view, width), "mark")]]
    tail: list[Line] = [firing_line(view)] if view.firing_order else []
    one_line = len("   ".join(LEGEND)) <= width
    tail += [[("   ".join(LEGEND), "quiet")]] if one_line else [[(text, "quiet")] for text in LEGEND]
    body = _bay(view, width, True)
    if len(head) + len(body) + len(tail) + min(len(view.elsewhere), 2) > height:
        body = _bay(view, width, False)
    beside = _beside_bay(view, body, width)
    if beside is not None:
        return head + beside + tail
    room = height - len(head) - len(body) - len(tail)
    return head + body + tail + _elsewhere(view, width, room)


def _beside_bay(view: EngineView, body: list[Line], width: int) -> list[Line] | None:
    """Return the bay with the loads away from the cylinders at its right, if it is narrow enough for that."""
    if view.orientation == "crosswise" or not view.elsewhere or len(view.elsewhere) > len(body) - 1:
        return None
    used = max(sum(len(text) for text, _ in line) for line in body[1:]) + 3
    if width - used < 24:
        return None
    lines = list(body)
    for index, channel in enumerate(view.elsewhere, 1):
        own = sum(len(text) for text, _ in body[index])
        cell = _place_cell(channel, width - used, with_word=width - used >= 40)
        lines[index] = [*body[index], (" " * (used - own), "plain"), *cell]
    return lines


def _title(view: EngineView, width: int) -> str:
    count = len(view.cylinders)
    layout = {"inline": "in line", "vee": "in a V", "flat": "flat"}.get(view.layout, view.layout)
    lies = "across the bay" if view.orientation == "crosswise" else "along the bay"
    title = f"{count} cylinders {layout}, {lies}"
    return f"{title}, seen from above" if len(title) + 17 <= width else title


def _elsewhere(view: EngineView, width: int, height: int) -> list[Line]:
    """Return the loads away from the cylinders, in two columns where one is too long, and how many are left."""
    columns = 2 if len(view.elsewhere) > height and width >= 44 else 1
    cells = [_place_cell(channel, width // columns, with_word=columns == 1) for channel in view.elsewhere]
    rows = -(-len(cells) // columns)
    lines = [[part for cell in cells[row::rows] for part in cell] for row in range(rows)] if rows else []
    if len(lines) <= height:
        return lines
    shown = max(height - 1, 0)
    left = len(cells) - shown * columns
    lines = [
        [part for cell in cells[row * columns : (row + 1) * columns] for part in cell] for row in range(shown)
    ]
    return [*lines, [(f"... and {left} more, see the channels", "quiet")]] if height > 0 else []


def _place_cell(channel: ChannelView, room: int, *, with_word: bool) -> Line:
    live = channel.live in (Live.DRIVEN, Live.SENSED, Live.TRIPPED)
    sign = LIVE_SIGNS[channel.live] if live else verdict_sign(channel.verdict)
    text = str(sign) if with_word else sign.shape
    place = f"{channel.channel} {channel.location or channel.name}"[: max(room - len(text) - 4, 6)]
    rest = " " * max(room - len(place) - len(text) - 3, 0)
    return [(f"◇ {place} ", "plain"), (text, "live" if live else sign.role), (rest, "plain")]


class EnginePicture(Widget):
    """Draws an `EngineView`; cells beyond the widget are dropped, the legend says what the shapes mean."""

    COMPONENT_CLASSES = {
        f"engine--{role}" for role in ("good", "bad", "doubt", "quiet", "live", "plain", "mark")
    }

    view: reactive[EngineView] = reactive(EngineView())
    _drawn: tuple[object, list[Line]] | None = None
    empty_text = "This job has no engine: channels are listed by their locations."

    def render_line(self, y: int) -> Strip:
        """Return one line of the picture."""
        width, height = self.size
        key = (self.view, width, height)
        if self._drawn is None or self._drawn[0] != key:
            lines = draw_engine(self.view, width, height)
            self._drawn = (key, lines or [[(self.empty_text[:width], "quiet")]])
        lines = self._drawn[1]
        if y >= len(lines):
            return Strip.blank(width, self.rich_style)
        segments = [
            Segment(text, self.get_component_rich_style(f"engine--{role}")) for text, role in lines[y]
        ]
        return Strip(segments).adjust_cell_length(width, self.rich_style)
