"""The equipment and help that a case may need."""

from enum import StrEnum


class Need(StrEnum):
    """Equipment or help that a case needs; the value is the wording of the table."""

    CHANNEL = "a harmless channel"
    TWO = "two harmless channels"
    FOUR = "four harmless channels"
    BRIDGE = "a half-bridge pair with a dummy load"
    STOP_BUTTON = "hands at the stop button"
    SUPPLY = "hands at the supply switch"
    CONNECTOR = "hands at a load's connector"
