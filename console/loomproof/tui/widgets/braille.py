"""A canvas of braille dots: two across and four down in each cell. Pure; no Textual."""

from __future__ import annotations

from collections.abc import Iterator

# Bit of each dot by (column, row) in a cell (Unicode chapter 21, Braille Patterns: dots 1-8).
_BITS = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))
_BLANK = 0x2800


class Canvas:
    """Dots on a grid of `columns` x `rows` cells; dot (0, 0) is the top left."""

    def __init__(self, columns: int, rows: int) -> None:
        self.columns = columns
        self.rows = rows
        self._cells = bytearray(columns * rows)

    @property
    def width(self) -> int:
        """Dots across."""
        return self.columns * 2

    @property
    def height(self) -> int:
        """Dots down."""
        return self.rows * 4

    def dot(self, x: int, y: int) -> None:
        """Set one dot; outside the canvas nothing happens."""
        if 0 <= x < self.width and 0 <= y < self.height:
            self._cells[(y // 4) * self.columns + x // 2] |= _BITS[x % 2][y % 4]

    def line(self, x0: int, y0: int, x1: int, y1: int, *, on: int = 1, off: int = 0) -> None:
        """Draw a line, every `on` dots followed by `off` left out, counted along x so that patterns join.

        Args:
            x0: where it begins, in dots from the left.
            y0: where it begins, in dots from the top.
            x1: where it ends, in dots from the left.
            y1: where it ends, in dots from the top.
            on: dots drawn in a row.
            off: dots left out after them; 0: none.
        """
        span = max(abs(x1 - x0), abs(y1 - y0), 1)
        for step in range(span + 1):
            x = x0 + round((x1 - x0) * step / span)
            y = y0 + round((y1 - y0) * step / span)
            if off and (x + y) % (on + off) >= on:
                continue
            self.dot(x, y)

    def filled(self, column: int, row: int) -> bool:
        """Tell whether a cell has any dot."""
        return bool(self._cells[row * self.columns + column])

    def glyph(self, column: int, row: int) -> str:
        """Return the braille character of a cell (blank braille when empty)."""
        return chr(_BLANK | self._cells[row * self.columns + column])

    def lines(self) -> Iterator[str]:
        """Yield each row of cells as text."""
        for row in range(self.rows):
            yield "".join(self.glyph(column, row) for column in range(self.columns))
