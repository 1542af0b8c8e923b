"""Requests whose replies have a known type."""

import contextlib
from typing import TypeVar

from loomproof.box.errors import BoxStopped
from loomproof.link.base import Link
from loomproof.link.errors import BoxError, RequestRefused
from loomproof_wire.messages import Ack, GetStatus, Refusal, Reply, Request, Status, StopReason

ReplyT = TypeVar("ReplyT", bound=Reply)
_STOPPED = (Refusal.STOPPED, Refusal.STOP_INPUT_OPEN)


def ask(
    link: Link,
    request: Request,
    reply_type: type[ReplyT],
    *,
    timeout_s: float | None = None,
    tries: int | None = None,
) -> ReplyT:
    """Send a request and return its reply.

    Args:
        link: to the box.
        request: the message.
        reply_type: the message that answers it.
        timeout_s: how long to wait for each try; None: the link's own.
        tries: how often it is sent under one number; None: the link's own.

    Raises:
        BoxStopped: the box is stopped.
        RequestRefused, NoReply, Unreadable, LinkLost: see `Link.request`.
        RangeError: a value is outside its range; nothing was sent.
    """
    try:
        reply = link.request(request, timeout_s, tries)
    except RequestRefused as refused:
        if refused.reason in _STOPPED:
            why = stop_reason(link)
            raise BoxStopped(refused.request_kind, refused.reason, refused.detail, why) from refused
        raise
    if not isinstance(reply, reply_type):
        # LinkCore matched kind and request, so only a mistaken call can come here.
        raise TypeError(f"{request.NAME} is answered by {reply.NAME}, not {reply_type.__name__}")
    return reply


def stop_reason(link: Link) -> StopReason | None:
    """Ask the box why it is stopped, to explain it; None when it cannot be asked."""
    with contextlib.suppress(BoxError):
        return ask(link, GetStatus(), Status).stop_reason
    return None


def tell(link: Link, request: Request) -> None:
    """Send a request that is merely acknowledged; raises as `ask`."""
    ask(link, request, Ack)
