"""What must be at hand for a case to be run."""

from enum import StrEnum


class Need(StrEnum):
    """What must be at hand for a case to be run; the value is how the table says it."""

    CHANNEL = "a harmless channel"
    TWO = "two harmless channels"
    FOUR = "four harmless channels"
    BRIDGE = "a half-bridge pair with a dummy load"
    STOP_BUTTON = "hands at the stop button"
    SUPPLY = "hands at the supply switch"
    CONNECTOR = "hands at a load's connector"
