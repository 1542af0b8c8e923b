"""The face of a header: which cavity lies where, from either side."""

from __future__ import annotations

import math

from loomproof.job.model import Connector

Face = tuple[tuple[int, ...], ...]
"""Cavity numbers row by row from the top left; `NO_CAVITY` where the face has none. All rows equally long."""

NO_CAVITY = 0
_FIRST = {
    None: (False, False),
    "top_left": (False, False),
    "top_right": (False, True),
    "bottom_left": (True, False),
    "bottom_right": (True, True),
}
"""Corner of cavity 1: whether the face is counted from the bottom up, and from right to left."""
FACE_KEYS = ("seen_from", "numbering", "first", "face")
"""Keys of a connector that only say how its face looks; each may be left out."""


def face_of(connector: Connector) -> Face:
    """Return a connector's face from the side that its `seen_from` names."""
    if connector.face is not None:
        return connector.face
    columns = connector.columns or math.ceil(connector.cavities / connector.rows)
    by_columns = connector.numbering == "columns"
    outer, inner = (columns, connector.rows) if by_columns else (connector.rows, columns)
    lines = [
        tuple(n if n <= connector.cavities else NO_CAVITY for n in range(k * inner + 1, (k + 1) * inner + 1))
        for k in range(outer)
    ]
    if connector.numbering == "serpentine":
        lines = [line[::-1] if k % 2 else line for k, line in enumerate(lines)]
    face: Face = tuple(zip(*lines, strict=True)) if by_columns else tuple(lines)
    upwards, leftwards = _FIRST[connector.first]
    if upwards:
        face = face[::-1]
    return mirrored(face) if leftwards else face


def mirrored(face: Face) -> Face:
    """Return the same face from the other side: left and right change places, top and bottom do not."""
    return tuple(row[::-1] for row in face)
