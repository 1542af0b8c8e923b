"""The `sim://` port: virtual and real time, names, bad URLs, a pulled plug."""

import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import serial

import loomproof_sim.named_boxes as named_boxes
from loomproof_wire import messages as wire
from loomproof_wire.frames import FrameReader, decode, encode_frame

EXAMPLE = Path(__file__).parents[2] / "examples" / "inline-five-turbo.toml"


@pytest.fixture(autouse=True)
def _handlers(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(serial, "protocol_handler_packages", ["serial.urlhandler", "loomproof_sim.urls"])
    yield
    named_boxes.forget("bench")


def open_port(query: str = "clock=virtual", path: str = "", timeout: float | None = 0.2) -> Any:
    return serial.serial_for_url(f"sim://{path}?{query}", timeout=timeout)


def heard(port: Any, reader: FrameReader | None = None) -> list[Any]:
    return [decode(frame) for frame in (reader or FrameReader()).feed(port.read(4096))]


def test_a_job_path_and_repeated_keys_are_read() -> None:
    port = open_port("clock=virtual&seed=7&fault=open:1&fault=open:2", str(EXAMPLE))
    port.write(encode_frame(1, wire.Hello(1, 0, 1, 0)))
    (identity,) = heard(port)
    assert identity.serial_number == "SIM-00000007"
    assert [port.sim.plant.loom.branch(channel).open for channel in (1, 2, 3)] == [True, True, False]


def test_virtual_time_passes_only_while_reading_and_up_to_the_timeout() -> None:
    port = open_port()
    assert port.virtual_clock
    assert port.read(1) == b""
    assert port.now_s() == 0.2
    port.write(encode_frame(1, wire.Hello(1, 0, 1, 0)))
    assert isinstance(heard(port)[0], wire.Identity)
    assert port.now_s() == 0.2  # the reply was there at once
    assert isinstance(heard(port)[0], wire.Telemetry)
    assert port.now_s() == pytest.approx(0.3)  # and the telemetry 100 ms later
    port.timeout = 0
    assert port.read(100) == b""
    assert port.now_s() == pytest.approx(0.3)


def test_real_time_wakes_a_waiting_reader() -> None:
    port = open_port("clock=real", timeout=5)
    assert not port.virtual_clock
    threading.Timer(0.05, lambda: port.write(encode_frame(1, wire.Hello(1, 0, 1, 0)))).start()
    assert isinstance(heard(port)[0], wire.Identity)


def test_closing_ends_a_waiting_read() -> None:
    port = open_port("clock=real", timeout=None)
    got: list[bytes] = []
    reader = threading.Thread(target=lambda: got.append(port.read(1)))
    reader.start()
    while not reader.is_alive():
        time.sleep(0.001)
    time.sleep(0.05)
    port.close()
    reader.join(5)
    assert got == [b""]
    with pytest.raises(serial.SerialException):
        port.read(1)


def test_a_named_box_stays_the_same_while_its_port_is_closed(monkeypatch) -> None:
    monkeypatch.setattr("loomproof_sim.named_boxes.sim_boxes", {})  # whatever else ran in this process
    with pytest.raises(KeyError, match="opened: none"):
        named_boxes.find("bench")
    port = open_port("clock=virtual&name=bench")
    port.write(encode_frame(1, wire.Hello(1, 0, 1, 0)))
    port.read(100)
    port.sim.hands.pull(1)
    port.close()
    again = open_port("clock=virtual&name=bench")
    assert again.sim is port.sim is named_boxes.find("bench")
    assert again.sim.hands.pulled == (1,)
    assert open_port("clock=virtual&name=bench&seed=2").sim is not port.sim  # another box under that name


def test_a_pulled_plug_is_an_error_and_loses_what_is_said() -> None:
    port = open_port()
    port.write(encode_frame(1, wire.Hello(1, 0, 1, 0)))
    port.sim.hands.cable(out=True)
    for use in (lambda: port.read(1), lambda: port.write(b"x"), lambda: port.in_waiting):
        with pytest.raises(serial.SerialException, match="USB plug is pulled"):
            use()
    port.sim.run_for(1)
    port.sim.hands.cable(out=False)
    assert port.in_waiting == 0
    assert isinstance(heard(port)[0], wire.Telemetry)  # it stayed powered


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ("sede=1", "sede"),
        ("seed=1&seed=2", "seed is given twice"),
        ("fault=opne:1", "there is no fault 'opne'"),
        ("clock=sundial", "clock"),
        ("seed=-1", "seed"),
    ],
)
def test_a_bad_url_says_what_is_wrong(query: str, says: str) -> None:
    with pytest.raises(serial.SerialException) as caught:
        open_port(query)
    assert says in str(caught.value)


def test_a_missing_job_says_so() -> None:
    with pytest.raises(serial.SerialException, match=r"nowhere\.toml"):
        open_port("", "nowhere.toml")
