"""`sim://JOBPATH?seed=1&fault=open:5&clock=virtual` as a pyserial port.

Query: seed, fault (may repeat), clock (real, virtual), name, profile, scenario (a TOML file), supply_v,
supply_ohm, temperature_c, spread, driver_stuck_on, current_path_dead. An empty path stands for the small built-in job.
"""

from typing import TYPE_CHECKING
from urllib.parse import parse_qsl, unquote, urlsplit

from serial import PortNotOpenError, SerialBase, SerialException

from loomproof_sim.box import CableOutError, SimBox
from loomproof_sim.named_boxes import box_for
from loomproof_sim.scenario import ScenarioError, build_box, scenario_from_query

if TYPE_CHECKING:
    from _typeshed import ReadableBuffer


class Serial(SerialBase):
    """A simulated box with the interface of a serial port; pyserial requires this class name.

    Attributes:
        sim: the box; its hands are `sim.hands`.
    """

    sim: SimBox

    def open(self) -> None:
        """Build the box, or find it by its name.

        Raises:
            SerialException: the URL, its job or its faults are wrong; the message says what.
        """
        if self.port is None:
            raise SerialException("a port must be named before it can be opened")
        if self.is_open:
            raise SerialException("the port is already open")
        url = self.port
        self.sim = self._find_box(url)
        self.sim.discard()
        self.is_open = True

    @staticmethod
    def _find_box(url: str) -> SimBox:
        parts = urlsplit(url)
        query = parse_qsl(parts.query, keep_blank_values=True)
        name = next((value for key, value in query if key == "name"), None)
        try:
            scenario = scenario_from_query(
                unquote(parts.netloc + parts.path), [(key, value) for key, value in query if key != "name"]
            )
            return box_for(url, name, lambda: build_box(scenario))
        except ScenarioError as error:
            raise SerialException(str(error)) from error

    @property
    def virtual_clock(self) -> bool:
        """Whether time passes only while reading."""
        return self.sim.virtual

    def now_s(self) -> float:
        """Return the box's time in seconds."""
        return self.sim.now_s()

    def close(self) -> None:
        """Close the port; a waiting reader returns."""
        if self.is_open:
            self.is_open = False
            self.sim.cancel_read()

    def read(self, size: int = 1) -> bytes:
        """Return up to `size` bytes as soon as one is there, or nothing after the timeout."""
        self._check_open()
        try:
            return self.sim.read(size, self.timeout)
        except CableOutError as error:
            raise SerialException(str(error)) from error

    def write(self, data: "ReadableBuffer") -> int:
        """Send bytes to the box and return how many."""
        self._check_open()
        raw = bytes(data)
        try:
            self.sim.write(raw)
        except CableOutError as error:
            raise SerialException(str(error)) from error
        return len(raw)

    @property
    def in_waiting(self) -> int:
        """Number of bytes that can be read at once."""
        self._check_open()
        try:
            return self.sim.waiting()
        except CableOutError as error:
            raise SerialException(str(error)) from error

    @property
    def out_waiting(self) -> int:
        """Always 0: the box takes bytes at once."""
        self._check_open()
        return 0

    def flush(self) -> None:
        """Do nothing: no bytes ever wait to be sent."""
        self._check_open()

    def reset_input_buffer(self) -> None:
        """Drop the bytes that nobody has read."""
        self._check_open()
        self.sim.discard()

    def reset_output_buffer(self) -> None:
        """Do nothing: no bytes ever wait to be sent."""
        self._check_open()

    def cancel_read(self) -> None:
        """Make a waiting read return at once."""
        self._check_open()
        self.sim.cancel_read()

    def cancel_write(self) -> None:
        """Do nothing: a write never waits."""
        self._check_open()

    def _check_open(self) -> None:
        if not self.is_open:
            raise PortNotOpenError()

    def _reconfigure_port(self, *args: object, **kwargs: object) -> None:
        """Do nothing: a simulated line has no baud rate."""

    def _update_dtr_state(self) -> None:
        """Do nothing: there is no such line."""

    def _update_rts_state(self) -> None:
        """Do nothing: there is no such line."""

    def _update_break_state(self) -> None:
        """Do nothing: there is no such line."""
