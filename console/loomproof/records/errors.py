"""The one error of the record room."""


class RecordError(Exception):
    """A record cannot be written, read or carried on: why, and how to mend it."""

    def __init__(self, reason: str, remedy: str) -> None:
        super().__init__(f"{reason} {remedy}")
        self.reason = reason
        self.remedy = remedy
