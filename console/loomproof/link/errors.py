"""Errors between the console and a box; each is a `BoxError`."""

from loomproof_wire.messages import MESSAGES, REFUSAL_TEXT, Refusal


def message_name(kind: int) -> str:
    """Return the declared name of a message kind in words, such as `drive train`."""
    known = MESSAGES.get(kind)
    return known.NAME.replace("_", " ") if known else f"message 0x{kind:02X}"


class BoxError(Exception):
    """Something keeps the console from working with a box."""


class RequestRefused(BoxError):  # noqa: N818 - the name says what happened
    """The box refused a request.

    Attributes:
        request_kind: kind byte of the refused request.
        reason: the reason that the box named.
        detail: the number that goes with the reason (see the protocol page); 0 if none.
        text: the reason in words.
        remedy: what the operator can do.
    """

    def __init__(self, request_kind: int, reason: Refusal, detail: int = 0) -> None:
        self.request_kind = request_kind
        self.reason = reason
        self.detail = detail
        self.text, self.remedy = REFUSAL_TEXT[reason]
        number = f" ({detail})" if detail else ""
        super().__init__(
            f"the box refused `{message_name(request_kind)}`: {self.text}{number}; {self.remedy}"
        )


class NoReply(BoxError):  # noqa: N818 - the name says what happened
    """A request was sent as often as allowed and no answer came. The box may have carried it out.

    Attributes:
        request_kind: kind byte of the request.
        tries: how often it was sent.
    """

    def __init__(self, request_kind: int, tries: int) -> None:
        self.request_kind = request_kind
        self.tries = tries
        super().__init__(
            f"the box did not answer `{message_name(request_kind)}` in {tries} tries; "
            "check the cable, the baud rate and the power of the box"
        )


class StopSent(BoxError):  # noqa: N818 - the name says what happened
    """A stop was sent after this request was begun, so it is not sent (again). The box may have carried it out before.

    Attributes:
        request_kind: kind byte of the request.
    """

    def __init__(self, request_kind: int) -> None:
        self.request_kind = request_kind
        super().__init__(
            f"a stop was sent before the box answered `{message_name(request_kind)}`, which is not sent again"
        )


class LinkLost(BoxError):  # noqa: N818 - the name says what happened
    """The port went away or could not be opened.

    Attributes:
        url: the address of the box.
        cause: the error of the port in words.
    """

    def __init__(self, url: str, cause: str, mend: str = "check the cable, then reconnect") -> None:
        self.url = url
        self.cause = cause
        super().__init__(f"no link to the box at {url}: {cause}; {mend}")


class Unreadable(BoxError):  # noqa: N818 - the name says what happened
    """A reply is undamaged, but its body is not what this console's protocol version declares.

    Attributes:
        kind: kind byte of the reply.
        body: its body.
    """

    def __init__(self, kind: int, body: bytes, cause: str) -> None:
        self.kind = kind
        self.body = body
        super().__init__(f"the box's answer makes no sense to this console: {cause}")
