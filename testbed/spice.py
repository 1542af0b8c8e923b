"""Runs ngspice, a circuit simulator that shares nothing with this project."""

from __future__ import annotations

import subprocess
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
LONGEST_S = 120


def transient(folder: Path, deck: str, vectors: Sequence[str], span: str) -> tuple[Floats, Floats]:
    """Run a transient analysis of a deck.

    Args:
        folder: where the deck and the result are written.
        deck: title line, circuit and options, each line ended.
        vectors: what is wanted, in ngspice's words.
        span: what follows `.tran`.

    Returns:
        Times in s, shape (n,), each once; values, shape (n, len(vectors)).

    Raises:
        AssertionError: ngspice made no result; its words.
    """
    out = folder / "out.txt"
    control = (
        f".control\nset wr_singlescale\nset numdgt=10\nrun\nwrdata {out} {' '.join(vectors)}\n.endc\n.end\n"
    )
    (folder / "deck.cir").write_text(f"{deck}.tran {span}\n{control}", encoding="utf-8")
    done = subprocess.run(
        ["ngspice", "-b", "deck.cir"],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=LONGEST_S,
        check=False,
    )
    assert out.exists(), done.stdout + done.stderr
    table = np.loadtxt(out)
    times, first = np.unique(table[:, 0], return_index=True)
    return times, table[first, 1:]
