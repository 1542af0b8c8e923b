"""The link in virtual time, against a fake box that spoils answers."""

import threading

import pytest
from serial import SerialTimeoutException

from loomproof.link.base import LinkDown
from loomproof.link.errors import LinkLost, NoReply, RequestRefused, StopSent
from loomproof.link.protocol import GATE_S, LinkCore
from loomproof.link.pumped import PumpedLink
from loomproof_wire.messages import Ack, ClearStop, DriveTrain, GetStatus, Heartbeat, Refusal, Stop, Trip


@pytest.fixture
def link(port, hello):
    link = PumpedLink(port, "fake://", auto_call_in=True)
    link.request(hello)
    return link


@pytest.mark.parametrize(
    ("spoil", "took_s", "resent"),
    [
        ([], 0.0, 0),
        (["lose"], 0.25, 1),
        (["corrupt"], 0.25, 1),
        (["lose", "corrupt"], 0.5, 2),
        (["double"], 0.0, 0),
        ([0.2], 0.2, 0),
        ([0.3], 0.25, 1),
        ([0.6, "lose"], 0.5, 2),
    ],
    ids=str,
)
def test_whatever_happens_to_the_answer_the_train_runs_once(link, port, box, train, spoil, took_s, resent):
    start_s = link.now_s()
    box.spoil = list(spoil)
    assert link.request(train) == Ack(DriveTrain.KIND)
    assert link.now_s() - start_s == pytest.approx(took_s, abs=1e-6)
    assert box.executed["drive_train"] == 1
    assert link.counters.resent == resent
    numbers = {sequence for _, sequence, message in box.received if message == train}
    assert len(numbers) == 1
    link.sleep(1)
    assert link.request(GetStatus())
    assert box.executed == {"hello": 1, "drive_train": 1, "get_status": 1}


def test_a_box_that_never_answers(link, box, train):
    start_s = link.now_s()
    box.spoil = ["lose"] * 3
    with pytest.raises(NoReply):
        link.request(train)
    assert link.now_s() - start_s == pytest.approx(0.75, abs=1e-6)
    assert box.executed["drive_train"] == 1
    assert link.request(GetStatus())


def test_a_refusal_is_raised_and_not_repeated(link, box, train):
    box.refuse[DriveTrain.KIND] = Refusal.NOT_ARMED
    with pytest.raises(RequestRefused) as refused:
        link.request(train)
    assert refused.value.reason is Refusal.NOT_ARMED
    assert box.executed["drive_train"] == 1


def test_sleeping_keeps_the_box_live_at_exact_times(link, box):
    link.sleep(2.0)
    assert {session for _, session in box.heartbeats} == {77}
    times = [time_s for time_s, _ in box.heartbeats]
    assert times == pytest.approx([n * 0.1 for n in range(len(times))], abs=1e-4)
    assert times[-1] > 1.89


def test_without_calling_in_the_heartbeat_ceases(port, box, hello):
    link = PumpedLink(port, "fake://")
    link.request(hello)
    link.sleep(1.0)
    assert box.heartbeats == []
    link.call_in()
    called_in_s = link.now_s()
    link.sleep(3.0)
    last_s = box.heartbeats[-1][0]
    assert called_in_s + 0.39 < last_s < called_in_s + GATE_S
    link.request(GetStatus())
    assert box.heartbeats[-1][0] == last_s


def test_events_reach_subscribers_and_the_queue(link, port, box):
    heard = []
    end = link.subscribe(heard.append)
    port.deliver(box.event(Trip(3, 900)), link.now_s() + 0.05)
    start_s = link.now_s()
    assert link.next_event(1.0) == Trip(3, 900)
    assert link.now_s() - start_s == pytest.approx(0.05, abs=1e-6)
    assert heard == [Trip(3, 900)]
    end()
    port.deliver(box.event(Trip(4, 900)))
    assert link.next_event(1.0) == Trip(4, 900)
    assert heard == [Trip(3, 900)]
    assert link.next_event(0.5) is None
    assert link.now_s() - start_s == pytest.approx(0.55, abs=1e-4)


def test_clear_events(link, port, box):
    port.deliver(box.event(Trip(3, 900)))
    link.sleep(0.01)
    link.clear_events()
    assert link.next_event(0.1) is None


def test_a_failing_subscriber_harms_nobody(link, port, box, caplog):
    def fail(event):
        raise ValueError("mine")

    heard = []
    link.subscribe(fail)
    link.subscribe(heard.append)
    port.deliver(box.event(Trip(3, 900)))
    link.sleep(0.3)
    assert heard == [Trip(3, 900)]
    assert "subscriber failed" in caplog.text
    assert link.request(GetStatus())


def test_a_subscriber_may_stop_the_box_but_not_ask_it(link, port, box, train):
    complaints = []

    def react(event):
        link.stop_now()
        try:
            link.request(train)
        except RuntimeError as error:
            complaints.append(str(error))

    link.subscribe(react)
    port.deliver(box.event(Trip(3, 900)))
    link.sleep(0.1)
    assert box.executed["stop"] == 1
    assert "drive_train" not in box.executed
    assert "must not send requests" in complaints[0]


def test_unplugged_while_a_request_waits(link, port, box, train):
    heard = []
    link.subscribe(heard.append)
    box.spoil = ["lose"]
    read = port.read

    def unplug_soon(size=1):
        if link.now_s() > 0.1:
            port.unplugged = True
        return read(size)

    port.read = unplug_soon
    with pytest.raises(LinkLost, match="device disconnected"):
        link.request(train)
    assert not link.connected
    assert heard == [LinkDown("device disconnected")]
    for call in (
        lambda: link.request(train),
        link.stop_now,
        lambda: link.sleep(1),
        lambda: link.next_event(1),
    ):
        with pytest.raises(LinkLost):
            call()
    link.close()
    assert len(heard) == 1


def test_a_request_whose_caller_gave_up_is_not_repeated(link, port, box, train):
    read, interrupted = port.read, []

    def once(size=1):
        if not interrupted:
            interrupted.append(True)
            raise KeyboardInterrupt
        return read(size)

    box.spoil = ["lose"]
    port.read = once
    with pytest.raises(KeyboardInterrupt):
        link.request(train)
    link.sleep(1.0)
    assert len([message for *_, message in box.received if message == train]) == 1
    assert link.counters.resent == 0


def test_a_port_that_takes_no_data_counts_as_a_lost_frame(link, port, box, train):
    write, failed = port.write, []

    def clogged(data):
        if not failed:
            failed.append(True)
            raise SerialTimeoutException("Write timeout")
        return write(data)

    port.write = clogged
    start_s = link.now_s()
    assert link.request(train) == Ack(DriveTrain.KIND)
    assert link.now_s() - start_s == pytest.approx(0.25, abs=1e-5)
    assert failed
    assert link.connected


def test_a_stop_from_a_subscriber_abandons_the_request_under_way(link, box, train):
    box.spoil = ["lose"]
    stopped = []

    def drop_and_stop(event):
        link.stop_now()
        stopped.append(link.now_s())

    link.subscribe(drop_and_stop)
    link._port.deliver(box.event(Trip(1, 1)), 0.1)
    with pytest.raises(StopSent):
        link.request(train)
    assert stopped == [pytest.approx(0.1)]
    assert link.now_s() == pytest.approx(0.25, abs=1e-6)
    assert box.executed == {"hello": 1, "drive_train": 1, "stop": 1}


def test_closing_tells_and_closes(link, port):
    heard = []
    link.subscribe(heard.append)
    link.close()
    link.close()
    assert port.closed
    assert heard == [LinkDown("closed")]
    with pytest.raises(LinkLost, match="closed"):
        link.request(GetStatus())


def test_two_threads_may_ask_at_once(link, box):
    answers = []
    threads = [threading.Thread(target=lambda: answers.append(link.request(GetStatus()))) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(20)
    assert len(answers) == 8
    assert box.executed["get_status"] == 8
    numbers = [sequence for _, sequence, message in box.received if isinstance(message, GetStatus)]
    assert numbers == sorted(set(numbers))


def test_stop_needs_no_session(port, box):
    PumpedLink(port, "fake://").stop_now()
    assert box.executed == {"stop": 1}
    assert [message for *_, message in box.received] == [Stop()]


def _requests(box):
    return [message for *_, message in box.received if not isinstance(message, Heartbeat)][1:]


def test_after_a_stop_no_older_request_is_repeated(link, port, box):
    """A clear whose answer is lost, the stop key while the link waits for it: the stop is the last the box hears."""
    box.spoil = ["lose"] * 3
    read = port.read

    def read_and_stop(size=1):
        if Stop() not in _requests(box):
            link.stop_now()
        return read(size)

    port.read = read_and_stop
    with pytest.raises(StopSent):
        link.request(ClearStop())
    link.sleep(1)
    assert _requests(box) == [ClearStop(), Stop()]
    assert link.request(ClearStop()) == Ack(ClearStop.KIND)


def test_a_request_that_a_stop_overtakes_on_its_way_to_the_port_is_not_written(link, box, monkeypatch):
    """The stop comes from another thread between the begin of a request and its writing."""
    begin = LinkCore.begin

    def begin_and_stop(core, *args, **kwargs):
        pending = begin(core, *args, **kwargs)
        link.stop_now()
        return pending

    monkeypatch.setattr(LinkCore, "begin", begin_and_stop)
    with pytest.raises(StopSent):
        link.request(ClearStop())
    link.sleep(1)
    assert _requests(box) == [Stop()]


def test_a_request_that_waits_for_another_is_abandoned_by_a_stop(link, box):
    lock = link._request_lock
    stopped = threading.Event()

    class Held:
        """The lock, held by another request until a stop has been sent."""

        def __enter__(self):
            stopped.wait(20)
            return lock.__enter__()

        def __exit__(self, *args):
            return lock.__exit__(*args)

    link._request_lock = Held()
    caught = []

    def ask():
        try:
            link.request(ClearStop())
        except StopSent as error:
            caught.append(error)

    thread = threading.Thread(target=ask)
    thread.start()
    link.stop_now()
    stopped.set()
    thread.join(20)
    assert len(caught) == 1
    assert _requests(box) == [Stop()]
