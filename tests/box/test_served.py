"""The box client in real time on a simulated box of its own process, over a real pty and over TCP."""

import subprocess
import sys
import time

import pytest

from loomproof.box.connect import connect
from loomproof.box.errors import LinkLost
from loomproof_wire.messages import BoxState, Configure, EndReason, Hazard, LoadClass, StopReason
from testbed.approve_without_asking import unasked_train

RELAY = Configure(4, LoadClass.RELAY, Hazard.NONE, 0, 100_000, 5000, 900, 100, 3000, 200)


@pytest.fixture(params=[["--pty"], ["--tcp", "127.0.0.1:0"]], ids=["pty", "tcp"])
def served(request):
    server = subprocess.Popen(
        [sys.executable, "-m", "loomproof_sim", "serve", *request.param], stdout=subprocess.PIPE, text=True
    )
    line = server.stdout.readline()
    assert line.startswith("ready "), line
    yield line.split()[1], server
    server.kill()
    server.wait(10)
    server.stdout.close()


def wait_until(condition, limit_s=20.0):
    end_s = time.monotonic() + limit_s
    while not condition():
        assert time.monotonic() < end_s, "never happened"
        time.sleep(0.01)


def test_a_whole_visit(served):
    url, _ = served
    with connect(url, auto_call_in=True) as box:
        box.configure(RELAY)
        box.verify_configuration()
        box.sleep(0.2)
        outcome = box.drive(
            unasked_train(4, count=3, period_us=50_000, on_time_us=10_000, every=1, samples=600)
        )
        assert (outcome.pulses, outcome.reason, len(outcome.traces)) == (3, EndReason.COMPLETE, 3)
        assert all(len(trace.fine) == 600 for trace in outcome.traces)
        assert box.counters.bad_frames == box.counters.missed_events == 0
        box.stop()
        assert box.status().state is BoxState.STOPPED
        box.clear_stop()
        assert box.drive(unasked_train(4, count=1, period_us=50_000, on_time_us=10_000)).pulses == 1


def test_a_frozen_console_leaves_the_box_stopped(served):
    url, _ = served
    with connect(url, auto_call_in=False) as box:
        box.call_in()
        wait_until(lambda: box.latest_status is not None)
        wait_until(lambda: box.latest_status.state is BoxState.STOPPED)
        assert box.latest_status.stop_reason is StopReason.HEARTBEAT


def test_the_box_going_away_in_a_drive(served):
    url, server = served
    with connect(url, auto_call_in=True) as box:
        box.configure(RELAY)
        box.sleep(0.2)
        killed = []
        box.subscribe(lambda event: killed or killed.append(server.kill()))
        with pytest.raises(LinkLost):
            box.drive(unasked_train(4, count=100, period_us=100_000, on_time_us=10_000))
        assert not box.connected
        with pytest.raises(LinkLost):
            box.reconnect()
