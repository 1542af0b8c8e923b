"""Themes: the Okabe-Ito colours, which people with the common colour-vision deficiencies can distinguish.

Source: Okabe and Ito, "Color Universal Design", 2008 (values from memory).
"""

from __future__ import annotations

from textual.theme import Theme

from loomproof.facts.signal import SIGNAL_COLOURS, Signal

ORANGE = "#E69F00"
SKY = "#56B4E9"
GREEN = "#009E73"
YELLOW = "#F0E442"
BLUE = "#0072B2"
VERMILLION = "#D55E00"
PURPLE = "#CC79A7"

_DARK_VARIABLES = {
    **{f"signal-{signal.lower()}": colour for signal, colour in SIGNAL_COLOURS.items()},
    "footer-key-foreground": YELLOW,
    "band": "#3A3F46",
    "trace-measured": YELLOW,
    "trace-second": SKY,
    "trace-third": PURPLE,
    "block-cursor-text-style": "bold reverse",
    "good": "#2FC79A",
    "bad": "#FF7F3F",
    "doubt": ORANGE,
    "quiet": "#A8ADB4",
    "live": YELLOW,
}

WORKSHOP = Theme(
    name="workshop",
    primary=SKY,
    secondary=BLUE,
    accent=YELLOW,
    success=GREEN,
    warning=SIGNAL_COLOURS[Signal.WARNING],
    error=VERMILLION,
    foreground="#E8E8E8",
    background="#101214",
    surface="#181B1F",
    panel="#23272D",
    dark=True,
    variables=_DARK_VARIABLES,
)

STARK = Theme(
    name="stark",
    primary="#FFFFFF",
    secondary=SKY,
    accent=YELLOW,
    success=GREEN,
    warning=SIGNAL_COLOURS[Signal.WARNING],
    error=VERMILLION,
    foreground="#FFFFFF",
    background="#000000",
    surface="#000000",
    panel="#000000",
    dark=True,
    variables=_DARK_VARIABLES | {"quiet": "#FFFFFF", "good": "#5FFFCF", "bad": "#FFAF5F", "band": "#444444"},
)

DAYLIGHT = Theme(
    name="daylight",
    primary=BLUE,
    secondary=SKY,
    accent="#8A4B00",
    success=GREEN,
    warning=SIGNAL_COLOURS[Signal.WARNING],
    error=VERMILLION,
    foreground="#111111",
    background="#FAFAF7",
    surface="#FFFFFF",
    panel="#E8E8E2",
    dark=False,
    variables=_DARK_VARIABLES
    | {
        "footer-key-foreground": BLUE,
        "band": "#D5D8DC",
        "trace-measured": "#000000",
        "trace-second": BLUE,
        "trace-third": "#8A3A68",
        "good": "#00664A",
        "bad": "#A33F00",
        "doubt": "#7A5200",
        "quiet": "#555555",
        "live": "#A33F00",
    },
)

THEMES: tuple[Theme, ...] = (WORKSHOP, STARK, DAYLIGHT)
