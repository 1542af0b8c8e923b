"""The error of the records, which every module of this room may raise."""


class RecordError(Exception):
    """A record cannot be written, read or carried on.

    Attributes:
        reason: why, as a sentence.
        remedy: what to do about it, as a sentence.
    """

    def __init__(self, reason: str, remedy: str) -> None:
        super().__init__(f"{reason} {remedy}")
        self.reason = reason
        self.remedy = remedy
