"""The threaded link over a real pty and a real TCP socket. No time is asserted, only order and outcome."""

import signal
import socket
import threading
import time

import pytest

from loomproof.link.base import LinkDown
from loomproof.link.errors import LinkLost, NoReply, StopSent
from loomproof.link.ports import open_link, open_port
from loomproof.link.threaded import ThreadedLink
from loomproof_wire.messages import Ack, DriveTrain, GetStatus, Heartbeat, Stop, Trip


@pytest.fixture
def link(served, hello):
    url, _ = served
    link = open_link(url, auto_call_in=True)
    assert isinstance(link, ThreadedLink)
    link.request(hello)
    yield link
    link.close()
    assert not link._thread.is_alive()


@pytest.mark.parametrize("spoil", [[], ["lose"], ["corrupt"], ["double"], [0.35]], ids=str)
def test_whatever_happens_to_the_answer_the_train_runs_once(link, box, train, spoil):
    box.spoil = list(spoil)
    assert link.request(train) == Ack(DriveTrain.KIND)
    assert link.request(GetStatus())
    assert box.executed == {"hello": 1, "drive_train": 1, "get_status": 1}


def test_a_frozen_box_is_no_reply(link, served, train):
    served[1].frozen.set()
    with pytest.raises(NoReply):
        link.request(train, timeout_s=0.02)


def test_a_pulled_plug_ends_the_waiting_request(link, served, box, train, eventually):
    heard = []
    link.subscribe(heard.append)
    box.spoil = ["lose"] * 3
    caught = []

    def ask():
        try:
            link.request(train, timeout_s=30)
        except LinkLost as error:
            caught.append(error)

    thread = threading.Thread(target=ask)
    thread.start()
    eventually(lambda: box.executed["drive_train"])
    served[1].unplug()
    thread.join(20)
    assert len(caught) == 1
    assert not link.connected
    eventually(lambda: len(heard) == 1)
    assert isinstance(heard[0], LinkDown)
    with pytest.raises(LinkLost):
        link.stop_now()


def test_stop_goes_out_while_another_thread_waits_for_its_answer(link, box, train, eventually):
    box.spoil = ["lose"] * 3
    failed = []

    def ask():
        try:
            link.request(train, timeout_s=30)
        except LinkLost:
            failed.append(True)

    thread = threading.Thread(target=ask)
    thread.start()
    eventually(lambda: box.executed["drive_train"])
    link.stop_now()
    eventually(lambda: box.executed["stop"])
    assert thread.is_alive()
    link.close()
    thread.join(20)
    assert failed == [True]


def test_stop_from_a_signal_handler_in_the_midst_of_a_write(link, box, train, eventually):
    """The handler runs in the thread that holds the port lock; it must neither deadlock nor be lost. The frame that it
    cuts in two is none, and is not sent again."""
    write = link._port.write
    halves = []

    def interrupted(data):
        if len(data) > 20 and not halves:
            halves.append(data[:9])
            write(data[:9])
            signal.raise_signal(signal.SIGUSR1)
            return write(data[9:])
        return write(data)

    before = signal.signal(signal.SIGUSR1, lambda *_: link.stop_now())
    link._port.write = interrupted
    try:
        with pytest.raises(StopSent):
            link.request(train)
    finally:
        link._port.write = write
        signal.signal(signal.SIGUSR1, before)
    assert halves
    eventually(lambda: box.executed["stop"] == 1)
    order = [type(message) for *_, message in box.received if not isinstance(message, Heartbeat)]
    assert order[1:] == [Stop]


def test_a_busy_waiting_interface_keeps_the_box_live(link, box, eventually):
    ended = []

    def wait():
        with pytest.raises(LinkLost):
            link.sleep(60)
        ended.append(True)

    thread = threading.Thread(target=wait)
    thread.start()
    eventually(lambda: len(box.heartbeats) >= 8)
    link.close()
    thread.join(20)
    assert ended == [True]


def test_a_frozen_interface_ends_the_heartbeat(served, box, hello, eventually):
    link = open_link(served[0], gate_s=0.2)
    link.request(hello)
    link.sleep(0.3)
    assert box.heartbeats == []
    link.call_in()
    eventually(lambda: len(box.heartbeats) >= 1)
    eventually(lambda: not link._core.gate_open(link.now_s()))
    eventually(lambda: link._core._heartbeat_due_s < link.now_s() + 0.1)
    time.sleep(0.1)
    count = len(box.heartbeats)
    due_s = link._core._heartbeat_due_s
    # The thread goes on living: heartbeats keep coming due, and none goes out.
    eventually(lambda: link._core._heartbeat_due_s > due_s + 0.25)
    assert len(box.heartbeats) == count
    link.call_in()
    eventually(lambda: len(box.heartbeats) > count)
    link.close()


def test_unasked_events_arrive(link, served, box, eventually):
    heard = []
    link.subscribe(heard.append)
    for channel in range(1, 5):
        served[1].send(box.event(Trip(channel, 100)))
    assert [link.next_event(20).channel for _ in range(4)] == [1, 2, 3, 4]
    eventually(lambda: len(heard) == 4)


def test_a_flood_of_noise_starves_neither_requests_nor_heartbeats(link, served, box, eventually):
    end = threading.Event()

    def flood():
        while not end.is_set():
            served[1].send_safely(b"\x55" * 300 + b"\0")
            time.sleep(0.0005)

    thread = threading.Thread(target=flood)
    thread.start()
    try:
        eventually(lambda: link.counters.bad_frames > 50)
        before = len(box.heartbeats)
        for _ in range(20):
            assert link.request(GetStatus(), timeout_s=1.0)
        link.sleep(0.3)
        eventually(lambda: len(box.heartbeats) > before)
    finally:
        end.set()
        thread.join(5)


def test_closing_ends_the_thread_and_tells_once(served, hello, eventually):
    link = open_link(served[0])
    heard = []
    link.subscribe(heard.append)
    link.request(hello)
    link.close()
    link.close()
    assert heard == [LinkDown("closed")]
    assert not link._thread.is_alive()
    with pytest.raises(LinkLost, match="closed"):
        link.request(GetStatus())


def test_closing_from_a_subscriber_does_not_hang(served, box, hello, eventually):
    link = open_link(served[0])
    link.request(hello)
    link.subscribe(lambda event: link.close())
    served[1].send(box.event(Trip(1, 1)))
    eventually(lambda: not link._thread.is_alive())


def test_frames_over_tcp_are_not_held_back():
    """Nagle's algorithm (RFC 896) would hold a stop back until the frame before it is acknowledged."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = open_port(f"socket://127.0.0.1:{listener.getsockname()[1]}", baud=500_000)
        with socket.fromfd(port.fileno(), socket.AF_INET, socket.SOCK_STREAM) as same:
            assert same.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
        port.close()


@pytest.mark.parametrize(
    "url", ["/dev/no-such-port", "socket://127.0.0.1:1", "nonsense://x", "sim://no/such.toml?x=y"]
)
def test_a_port_that_cannot_be_opened_is_said_so(url):
    with pytest.raises(LinkLost, match="check this address") as lost:
        open_link(url)
    assert lost.value.url == url
