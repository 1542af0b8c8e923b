"""Very large text, to be read from across the engine bay: outlines of a font drawn in half blocks.

The font is DejaVu Sans Bold as it comes with matplotlib (which the report needs); letters are as large as the
space allows, at least five rows high on a screen of 120x36 for a place's usual name.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from rich.segment import Segment
from textual.reactive import reactive
from textual.strip import Strip
from textual.widget import Widget

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont, ImageFont

FONT = "mpl-data/fonts/ttf/DejaVuSans-Bold.ttf"
LARGEST_PX, SMALLEST_PX = 44, 8
_HALVES = " ▄▀█"


def font_path() -> Path | None:
    """Return the font's file, found without importing the package it comes with."""
    spec = find_spec("matplotlib")
    for folder in (spec.submodule_search_locations or ()) if spec is not None else ():
        path = Path(folder) / FONT
        if path.is_file():
            return path
    return None


@lru_cache(maxsize=64)
def _font(size_px: int) -> FreeTypeFont | ImageFont:
    from PIL import ImageFont  # noqa: PLC0415 - only for large letters

    path = font_path()
    return ImageFont.truetype(str(path), size_px) if path is not None else ImageFont.load_default(size_px)


def _broken(text: str, size_px: int, width: int) -> list[str] | None:
    """Break a text at spaces so that each line fits; None when a word is too long."""
    font, lines = _font(size_px), [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if font.getlength(longer) <= width:
            lines[-1] = longer
        elif font.getlength(word) <= width:
            lines.append(word)
        else:
            return None
    return [line for line in lines if line]


def _line_px(size_px: int) -> int:
    """Height of a line of capitals with what hangs below them."""
    return round(size_px * 0.97)


def fitting(text: str, width: int, height: int) -> tuple[list[str], int] | None:
    """Return the lines of a text and the font's size in half rows, the largest that fits; None: none does."""
    for size_px in range(LARGEST_PX, SMALLEST_PX - 1, -1):
        lines = _broken(text, size_px, width)
        if lines is not None and len(lines) * _line_px(size_px) <= height * 2:
            return lines, size_px
    return None


@lru_cache(maxsize=64)
def big_lines(text: str, width: int, height: int) -> tuple[str, ...]:
    """Return a text as lines of half blocks, as large as `width` x `height` cells allow.

    Where not even the smallest letters fit, the text itself is returned in one line.
    """
    text = text.upper()
    found = fitting(text, width, height)
    return _drawn(*found, width) if found is not None else (text[:width],)


def _drawn(lines: list[str], size_px: int, width: int) -> tuple[str, ...]:
    from PIL import Image, ImageDraw  # noqa: PLC0415 - only for large letters

    line_px = _line_px(size_px)
    rows = -(-len(lines) * line_px // 2)
    image = Image.new("1", (width, rows * 2))
    draw = ImageDraw.Draw(image)
    draw.fontmode = "1"
    for index, line in enumerate(lines):
        baseline = index * line_px + round(size_px * 0.75)
        draw.text((0, baseline), line, fill=1, font=_font(size_px), anchor="ls")
    bits = [1 if value else 0 for value in image.tobytes("raw", "L")]
    drawn = []
    for row in range(rows):
        top, low = 2 * row * width, (2 * row + 1) * width
        drawn.append("".join(_HALVES[2 * bits[top + x] + bits[low + x]] for x in range(width)).rstrip())
    while drawn and not drawn[-1]:
        drawn.pop()
    return tuple(drawn)


class BigText(Widget):
    """One short text, as large as the widget."""

    COMPONENT_CLASSES = {f"bigtext--{tone}" for tone in ("plain", "good", "bad", "doubt", "quiet")}

    text: reactive[str] = reactive("")
    tone: reactive[str] = reactive("plain")

    def render_line(self, y: int) -> Strip:
        """Return one line of the picture, centred."""
        width, height = self.size
        style = self.get_component_rich_style(f"bigtext--{self.tone}")
        lines = big_lines(self.text, width, height) if self.text and width > 0 else ()
        first = max((height - len(lines)) // 2, 0)
        if not first <= y < first + len(lines):
            return Strip.blank(width, style)
        widest = max(len(line) for line in lines)
        left = max((width - widest) // 2, 0)
        return Strip([Segment(" " * left + lines[y - first], style)]).adjust_cell_length(width, style)
