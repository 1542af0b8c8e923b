"""The console in a browser: the driver that talks to the web server, and what ends the console with it.

A closed tab reaches the console as a request to quit; a server that was killed as the end of its input. Either
way the box is stopped first. What neither reaches (this process killed, the machine off) the box's own heartbeat
watch ends.
"""

from __future__ import annotations

from textual.drivers.web_driver import WebDriver

from loomproof.tui.terminal.stop_key import StopsFirst


class BrowserDriver(StopsFirst, WebDriver):
    """Sees the stop key in the input thread, and stops the box when the browser or its server is gone."""

    def on_meta(self, packet_type: str, payload: dict[str, object]) -> None:
        """Stop the box before anything else when the tab was closed."""
        if packet_type == "quit":
            self._stop()
        super().on_meta(packet_type, payload)

    def run_input_thread(self) -> None:
        """Read until the server closes the pipe; that ends the console."""
        super().run_input_thread()
        if not self.exit_event.is_set():
            self._leave("the browser's server is gone")

    def write(self, data: str) -> None:
        """Write to the server; when it is gone, leave instead of failing at every line."""
        try:
            super().write(data)
        except OSError:
            self._leave("the browser's server is gone")

    def write_meta(self, data: dict[str, object]) -> None:
        """Tell the server something, if it is still there."""
        try:
            super().write_meta(data)
        except OSError:
            self._stop()
