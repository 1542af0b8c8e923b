"""Fields of the bench: numbers that leave every other key to the page, and gauges that read without colour."""

from __future__ import annotations

from textual import events
from textual.widgets import Input

from loomproof.tui.pages.bench.view import GaugeView

NUMBER_KEYS = frozenset("0123456789.,-")
BAR = 12
"""Cells of a gauge."""


class NumberInput(Input):
    """Takes digits, a point, a comma and a minus; any other printable key stays a key of the page.

    A minus is taken so that a number below its range is refused as what it is, and not driven without its sign.
    """

    def check_consume_key(self, key: str, character: str | None) -> bool:
        """Tell which keys are typed here."""
        return character is not None and character in NUMBER_KEYS

    async def _on_key(self, event: events.Key) -> None:
        if event.is_printable and event.character not in NUMBER_KEYS:
            event.prevent_default()  # keeps it from the base class, not from the page's keys


def gauge_bar(now: float, after: float) -> str:
    """Return a bar: full blocks for what is used, half-tone for what the drive adds, light for what is left."""
    used = min(max(round(now * BAR), 0), BAR)
    more = min(max(round(after * BAR), used), BAR)
    if after > now and more == used and used < BAR:
        more = used + 1  # what is added is never invisible
    return "▕" + "█" * used + "▒" * (more - used) + "·" * (BAR - more) + "▏"


def gauge_text(gauge: GaugeView) -> str:
    """Return a gauge as one line; without a share it is words alone."""
    if gauge.now is None or gauge.after is None:
        return f"{gauge.label:<7}{gauge.text}"
    return f"{gauge.label:<7}{gauge_bar(gauge.now, gauge.after)} {gauge.word}: {gauge.text}"
