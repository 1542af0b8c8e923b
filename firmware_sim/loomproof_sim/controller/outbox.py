"""Bytes on their way to the console."""

from loomproof_wire.frames import encode_frame
from loomproof_wire.messages import Message


class Outbox:
    """Collects frames; events carry the box's own counter."""

    def __init__(self) -> None:
        self._bytes = bytearray()
        self._counter = 0
        self.muted = False

    def restart(self) -> None:
        """Let anything be heard again, with the events counted from 0: a session was opened."""
        self.muted = False
        self._counter = 0

    def event(self, message: Message) -> None:
        """Queue an unsolicited message, unless nobody has opened a session."""
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
        """Return what is queued and forget it."""
        data = bytes(self._bytes)
        self._bytes.clear()
        return data
