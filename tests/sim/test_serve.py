"""`loomproof-sim serve`: a real pseudo-terminal, TCP, hands from afar, and what a killed console leaves."""

import os
import selectors
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
import serial

from loomproof_sim.hands.local import HandsError
from loomproof_sim.hands.remote import HandsClient, act_from_words
from loomproof_sim.plant.spec import Drive
from loomproof_sim.scenario import Scenario, build_box
from loomproof_sim.server.addresses import Address, ServeError, parse_address
from loomproof_sim.server.box_server import Server
from loomproof_sim.server.ports import PtyPort
from loomproof_wire import messages as wire
from loomproof_wire.frames import FrameReader, decode, encode_frame

MS = 1_000_000
CONSOLE = """
import sys, time, serial
from loomproof_wire import messages as wire
from loomproof_wire.frames import encode_frame
port = serial.Serial(sys.argv[1], timeout=0.1)
port.write(encode_frame(1, wire.Hello(1, 0, 7, 0)))
port.write(encode_frame(0, wire.Heartbeat(7)))
relay = wire.Configure(4, wire.LoadClass.RELAY, wire.Hazard.NONE, 0, 100000, 10000, 900, 2000, 5000, 100)
port.write(encode_frame(2, relay))
port.write(encode_frame(3, wire.DriveHold(4, 10000, 1, 0)))
while True:
    port.write(encode_frame(0, wire.Heartbeat(7)))
    port.read(1000)
    time.sleep(0.05)
"""


@contextmanager
def served(*options: str) -> Iterator[tuple[str, subprocess.Popen[str], list[str]]]:
    """A served box: its URL, its process and what it printed before."""
    command = [sys.executable, "-m", "loomproof_sim", "serve", *options]
    process = subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    before = []
    try:
        for line in process.stdout:
            word, _, rest = line.strip().partition(" ")
            if word == "ready":
                yield rest, process, before
                break
            before.append(line.strip())
        else:
            raise AssertionError(process.stderr.read() if process.stderr else "")
    finally:
        process.kill()
        process.communicate()


def ask(port: Any, sequence: int, message: Any) -> Any:
    """Send a request and wait for its reply."""
    reader = FrameReader()
    port.write(encode_frame(sequence, message))
    for _ in range(200):
        for frame in reader.feed(port.read(1) + port.read(port.in_waiting or 1)):
            found = decode(frame)
            if frame.sequence == sequence and found.DIRECTION is wire.Direction.REPLY:
                return found
    raise AssertionError(f"no reply to {message}")


def wait_for(condition: Callable[[], bool]) -> None:
    for _ in range(2000):
        if condition():
            return
        threading.Event().wait(0.01)
    raise AssertionError("it never happened")


def test_a_killed_console_leaves_every_output_off_within_the_heartbeat() -> None:
    box = build_box(Scenario(clock="real"))
    beats: list[int] = []
    edges: list[tuple[int, int, Drive]] = []
    switch, beat = box.controller.outputs.set, box.controller.machine.beat

    def noting_switch(channel: int, drive: Drive, time_ns: int) -> None:
        edges.append((time_ns, channel, drive))
        switch(channel, drive, time_ns)

    def noting_beat() -> None:
        beats.append(box.controller.now_ns)
        beat()

    box.controller.outputs.set = noting_switch  # type: ignore[method-assign]
    box.controller.machine.beat = noting_beat  # type: ignore[method-assign]

    def act(url: str) -> None:
        console = subprocess.Popen([sys.executable, "-c", CONSOLE, url])
        try:
            wait_for(lambda: bool(edges) and len(beats) > 5)
        finally:
            console.send_signal(signal.SIGKILL)
            console.wait()
        wait_for(lambda: box.controller.latch.stopped)
        os.kill(os.getpid(), signal.SIGTERM)

    with selectors.DefaultSelector() as selector:
        port = PtyPort(selector, box.write)
        actor = threading.Thread(target=act, args=(port.url,))
        actor.start()
        Server(box, selector).run(port)
        actor.join()
        port.close()
    on, off = edges
    assert (on[1:], off[1:]) == ((4, Drive.ON), (4, Drive.OFF))
    assert off[0] == beats[-1] + 400 * MS  # in the box's own time, to the nanosecond
    assert box.controller.latch.reason is wire.StopReason.HEARTBEAT


def test_a_box_process_whose_console_was_killed_says_stopped() -> None:
    with served("--pty") as (url, _, _):
        console = subprocess.Popen([sys.executable, "-c", CONSOLE, url])
        watcher = threading.Event()
        watcher.wait(1.5)
        console.send_signal(signal.SIGKILL)
        console.wait()
        watcher.wait(1.0)
        with serial.Serial(url, timeout=0.2) as port:
            ask(port, 1, wire.Hello(1, 0, 8, 0))
            status = ask(port, 2, wire.GetStatus())
    assert (status.state, status.stop_reason) == (wire.BoxState.STOPPED, wire.StopReason.HEARTBEAT)
    assert status.driving_channel == 0


def test_tcp_serves_one_console_at_a_time() -> None:
    with served("--tcp", "127.0.0.1:0", "--seed", "3") as (url, _, _):
        with serial.serial_for_url(url, timeout=0.2) as port:
            assert ask(port, 1, wire.Hello(1, 0, 8, 0)).serial_number == "SIM-00000003"
            host, number = url.removeprefix("socket://").split(":")
            with socket.create_connection((host, int(number)), timeout=5) as second:
                assert second.recv(10) == b""
        with serial.serial_for_url(url, timeout=0.2) as port:
            ask(port, 2, wire.Hello(1, 0, 9, 0))


def test_hands_reach_it_from_another_process_and_by_typing() -> None:
    with served("--tcp", "127.0.0.1:0", "--hands", "127.0.0.1:0") as (url, process, before):
        host, number = before[0].removeprefix("hands ").split(":")
        hands = HandsClient(host, int(number))
        hands.pull("left_injector")
        hands.seat(1)
        hands.supply(12.1)
        with pytest.raises(HandsError, match="attic"):
            hands.pull("attic")
        assert process.stdin is not None
        assert process.stderr is not None
        process.stdin.write("stop press\nsing\n")
        process.stdin.flush()
        assert process.stderr.readline() == "done\n"
        assert "pull PLACE" in process.stderr.readline()
        with serial.serial_for_url(url, timeout=0.2) as port:
            ask(port, 1, wire.Hello(1, 0, 8, 0))
            status = ask(port, 2, wire.GetStatus())
        hands.close()
    assert status.stop_input_open == 1
    assert status.supply_mv == pytest.approx(12_100, abs=30)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_it_ends_cleanly(number: signal.Signals) -> None:
    with served("--pty") as (_, process, _):
        process.send_signal(number)
        assert process.wait(10) == 0
        assert process.stderr is not None
        assert process.stderr.read() == ""


@pytest.mark.parametrize("text", ["0.0.0.0:1", "192.0.2.7:80", "[::]:1", "example.org:1"])
def test_other_machines_are_kept_out_unless_asked_for(text: str) -> None:
    with pytest.raises(ServeError, match="--listen-anywhere"):
        parse_address(text, anywhere=False)
    parse_address(text, anywhere=True)


def test_addresses_of_this_machine() -> None:
    assert parse_address("127.0.0.1:7600", anywhere=False) == Address("127.0.0.1", 7600)
    assert parse_address("[::1]:0", anywhere=False) == Address("::1", 0)
    assert parse_address("localhost:5", anywhere=False) == Address("localhost", 5)
    for text in ("127.0.0.1", "127.0.0.1:", ":80", "127.0.0.1:99999", "127.0.0.1:x"):
        with pytest.raises(ServeError, match="HOST:PORT"):
            parse_address(text, anywhere=False)


@pytest.mark.parametrize(
    ("options", "code", "says"),
    [
        ([], 2, "either --pty or --tcp"),
        (["--pty", "--fault", "open:99"], 2, "the job has no channel '99'"),
        (["--tcp", "0.0.0.0:0"], 3, "--listen-anywhere"),
        (["--pty", "--profile", "grand"], 2, "profile"),
    ],
)
def test_wrong_options_say_why(options: list[str], code: int, says: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "loomproof_sim", "serve", *options],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout) == (code, "")
    assert says in done.stderr


@pytest.mark.parametrize(
    ("line", "request_"),
    [
        ("pull 5", {"do": "pull", "at": "5"}),
        ("seat left bank cam", {"do": "seat", "at": "left bank cam"}),
        ("wiggle 5", {"do": "wiggle", "at": "5"}),
        ("wiggle left bank 2.5", {"do": "wiggle", "at": "left bank", "duration_s": 2.5}),
        ("supply off", {"do": "supply", "on": False}),
        ("supply 11.8", {"do": "supply", "on": 11.8}),
        ("stop release", {"do": "stop_input", "open": False}),
    ],
)
def test_words_for_the_hands(line: str, request_: dict[str, Any]) -> None:
    assert act_from_words(line) == request_
