"""A terminal in tmux for tests that go the way a person would: keys in, the screen read back as text."""

from __future__ import annotations

import subprocess
import time
import uuid
from pathlib import Path

import pytest

PATIENCE_S = 40.0
"""How long to wait for words on the screen. Nothing is asserted about time; a busy machine may need it all."""


class TooBusyError(Exception):
    """The machine could not keep the box in the program's own process alive; that is not what is tested."""


class Tmux:
    """One tmux server with one window, of a size, in which the program runs.

    Args:
        size: columns and rows.
        environment: variables for the program.
        folder: where the server's socket lies.
    """

    def __init__(self, size: tuple[int, int], environment: dict[str, str], folder: Path) -> None:
        self._socket = str(folder / f"tmux-{uuid.uuid4().hex[:8]}")
        variables = [part for name, value in environment.items() for part in ("-e", f"{name}={value}")]
        self._tmux("new-session", "-d", "-s", "p", "-x", str(size[0]), "-y", str(size[1]), *variables, "sh")
        self._tmux("set-option", "-g", "escape-time", "0")

    def _tmux(self, *arguments: str) -> str:
        done = subprocess.run(
            ["tmux", "-S", self._socket, *arguments], capture_output=True, text=True, check=True
        )
        return done.stdout

    def type(self, text: str) -> None:
        """Type text as it stands, then Enter."""
        self._tmux("send-keys", "-t", "p", "-l", text)
        self._tmux("send-keys", "-t", "p", "Enter")

    def press(self, *keys: str) -> None:
        """Press keys by tmux's names: `g`, `Escape`, `C-x`."""
        self._tmux("send-keys", "-t", "p", *keys)

    def screen(self) -> str:
        """Return what the screen shows."""
        return self._tmux("capture-pane", "-p", "-t", "p")

    def wait_for(self, *words: str) -> str:
        """Wait until every one of the words is on the screen, and return the screen."""
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline:
            screen = self.screen()
            if all(word in screen for word in words):
                return screen
            if "console fell silent" in screen:
                raise TooBusyError
            time.sleep(0.05)
        pytest.fail(f"waited in vain for {words}; the screen:\n{self.screen()}")

    def end(self) -> None:
        """End the server and what runs in it."""
        subprocess.run(["tmux", "-S", self._socket, "kill-server"], capture_output=True, check=False)
