"""The conformance suite of `loomproof box-check` on the core compiled for this computer, in virtual time."""

import pytest
from hostbox import HostBox

from loomproof.boxcheck.attendant import Act
from loomproof.boxcheck.catalogue import CASES
from loomproof.boxcheck.fixture import Fixture
from loomproof.boxcheck.line import RawLine
from loomproof.boxcheck.need import Need
from loomproof.boxcheck.outcome import Outcome
from loomproof.boxcheck.requests import Tolerance
from loomproof.boxcheck.run import run_suite
from loomproof.boxcheck.subjects import Subject, Subjects

STEP_NS = 500_000


class HostPort:
    """The core as a port; its time passes only while somebody reads."""

    virtual_clock = True

    def __init__(self, box):
        self.box = box
        self.timeout = 0.0
        self._held = b""

    def now_s(self):
        return self.box.now_ns / 1e9

    @property
    def in_waiting(self):
        self._held += self.box.take_output()
        return len(self._held)

    def read(self, size=1):
        end_ns = self.box.now_ns + round((self.timeout or 0.0) * 1e9)
        while not self.in_waiting and self.box.now_ns < end_ns:
            self.box.advance_to(min(end_ns, self.box.now_ns + STEP_NS))
        taken, self._held = self._held[:size], self._held[size:]
        return taken

    def write(self, data):
        self.box.receive(bytes(data))
        return len(data)

    def close(self):
        pass


class HostHands:
    can = frozenset({Need.STOP_BUTTON, Need.SUPPLY, Need.CONNECTOR})
    patience_s = 0.0

    def __init__(self, box):
        self.box = box

    def do(self, act, channel):
        match act:
            case Act.PRESS_STOP | Act.RELEASE_STOP:
                self.box.set_stop_input(act is Act.PRESS_STOP)
            case Act.SUPPLY_OFF | Act.SUPPLY_ON:
                self.box.set_supply(13.5 if act is Act.SUPPLY_ON else 0.0)
            case Act.PULL:
                self.box.set_load(channel, -1.0, 1.0)
            case Act.SEAT:
                self.box.set_load(channel, 80.0, 0.3)


def make_bench(channel_count):
    box = HostBox(channel_count)
    for channel in range(1, 5):
        box.set_load(channel, 80.0, 0.3)  # a relay
    subjects = Subjects(tuple(Subject(n) for n in range(1, 5)), (15, 16) if channel_count == 16 else None)
    return Fixture(RawLine(HostPort(box)), subjects, HostHands(box), Tolerance(1, 1, 1))


@pytest.mark.parametrize(
    ("channel_count", "not_on"),
    [(16, {"no-such-channel"}), (4, {"bridge-drives", "own-ceilings-kept"})],
)
def test_the_core_keeps_every_guarantee(channel_count, not_on):
    """A board of 16 channels leaves none to miss; four low-side ones have no bridge and no logic output."""
    results = run_suite(make_bench(channel_count))
    assert len(results) == len(CASES)
    assert {r.case.key: r.text for r in results if r.outcome is Outcome.BROKEN} == {}
    assert {r.case.key for r in results if r.outcome is Outcome.NOT_RUN} == not_on
