"""The engine as it lies in the bay: cylinders by bank, what is proven at each, and the one that is live."""

from __future__ import annotations

from rich.segment import Segment
from textual.reactive import reactive
from textual.strip import Strip
from textual.widget import Widget

from loomproof.tui.views import CylinderView, EngineView
from loomproof.tui.words import verdict_sign

Part = tuple[str, str]
Line = list[Part]

WIDE, SLIM = 6, 4
"""Cells inside a cylinder's box: with the word LIVE, or where the bay is crowded."""


def _marks(cylinder: CylinderView, inner: int) -> Line:
    gap = " " if inner >= WIDE else ""
    marks: Line = []
    for letter, verdict in cylinder.marks[:2]:
        sign = verdict_sign(verdict)
        marks.append((f"{gap}{letter}{sign.shape}", "live" if cylinder.live else sign.role))
    return marks


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


def _crosswise(view: EngineView, tall: bool, inner: int) -> list[Line]:
    draw = _tall if tall else _flat
    lines: list[Line] = []
    for index, bank in enumerate(_banks(view)):
        if index and view.layout in _VALLEYS:
            label = "  V between the banks" if view.layout == "vee" else "  crankshaft between the banks"
            lines.append([(_VALLEYS[view.layout][0] + label, "quiet")])
        lines.extend(_beside([draw(cylinder, inner) for cylinder in bank]))
    return lines


def _lengthwise(view: EngineView, tall: bool, inner: int) -> list[Line]:
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


def draw_engine(view: EngineView, width: int, height: int) -> list[Line]:
    """Return the picture as lines of (text, role): boxes where they fit, one line per cylinder where not."""
    if not view.cylinders:
        return _elsewhere(view, width)
    across = view.orientation == "crosswise"
    place = _crosswise if across else _lengthwise
    longest = max(len(bank) for bank in _banks(view)) if across else 1
    inner = WIDE if longest * (WIDE + 3) - 1 <= width else SLIM
    first, last = ("left: ", "  right: ") if across else ("top: ", "  bottom: ")
    head: list[Line] = [[(_title(view, width), "mark")]]
    if view.start_text:
        head.append([(f"{first}{view.start_text}{last}{view.end_text}", "quiet")])
    tail: list[Line] = [firing_line(view)] if view.firing_order else []
    one_line = len("   ".join(LEGEND)) <= width
    tail += [[("   ".join(LEGEND), "quiet")]] if one_line else [[(text, "quiet")] for text in LEGEND]
    body = place(view, True, inner)
    if len(head) + len(body) + len(tail) > height:
        body = place(view, False, inner)
    return head + body + tail + _elsewhere(view, width)


def _title(view: EngineView, width: int) -> str:
    count = len(view.cylinders)
    layout = {"inline": "in line", "vee": "in a V", "flat": "flat"}.get(view.layout, view.layout)
    lies = "across the bay" if view.orientation == "crosswise" else "along the bay"
    title = f"{count} cylinders {layout}, {lies}"
    return f"{title}, seen from above" if len(title) + 17 <= width else title


def _elsewhere(view: EngineView, width: int) -> list[Line]:
    lines: list[Line] = []
    for channel in view.elsewhere:
        sign = verdict_sign(channel.verdict)
        shape = "►" if channel.live in ("driven", "sensed") else "◇"
        place = channel.location or channel.name
        role = "live" if shape == "►" else "plain"
        room = max(width - len(sign.word) - 6, 8)
        lines.append([(f"{shape} {place[:room]} ", role), (str(sign), sign.role)])
    return lines


class EnginePicture(Widget):
    """Draws an `EngineView`; cells beyond the widget are dropped, the legend says what the shapes mean."""

    COMPONENT_CLASSES = {
        f"engine--{role}" for role in ("good", "bad", "doubt", "quiet", "live", "plain", "mark")
    }

    view: reactive[EngineView] = reactive(EngineView())
    empty_text = "This job has no engine: channels are listed by their locations."

    def render_line(self, y: int) -> Strip:
        """Return one line of the picture."""
        width, height = self.size
        lines = draw_engine(self.view, width, height)
        if not lines:
            lines = [[(self.empty_text[:width], "quiet")]]
        if y >= len(lines):
            return Strip.blank(width, self.rich_style)
        segments = [
            Segment(text, self.get_component_rich_style(f"engine--{role}")) for text, role in lines[y]
        ]
        return Strip(segments).adjust_cell_length(width, self.rich_style)
