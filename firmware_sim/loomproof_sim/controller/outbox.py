"""Bytes on their way to the console."""

from loomproof_wire.frames import encode_frame
from loomproof_wire.messages import Message


class Outbox:
    """Collects frames for the console; events carry the box's own counter."""

    def __init__(self) -> None:
        self._bytes = bytearray()
        self._counter = 0
        self.muted = False

    def restart(self) -> None:
        """Let events out again and count them from 0, because a session was opened."""
        self.muted = False
        self._counter = 0

    def event(self, message: Message) -> None:
        """Queue an event, unless no session is open."""
        if not self.muted:
            self._bytes += encode_frame(self._counter, message)
            self._counter = (self._counter + 1) & 0xFFFF

    def reply(self, sequence: int, message: Message) -> bytes:
        """Queue a reply and return its frame, so that it can be sent again."""
        frame = encode_frame(sequence, message)
        self._bytes += frame
        return frame

    def again(self, frame: bytes) -> None:
        """Queue a frame once more."""
        self._bytes += frame

    def take(self) -> bytes:
        """Return the queued bytes and empty the queue."""
        data = bytes(self._bytes)
        self._bytes.clear()
        return data
