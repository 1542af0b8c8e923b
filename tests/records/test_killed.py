"""A killed writer: what was acknowledged is there, at most the step in flight is lost, the job goes on.

The writer is forked and kills itself with SIGKILL at its n-th SQL statement or commit, for every n there is;
then a separate interpreter is killed from outside at arbitrary moments.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from sqlalchemy import event

from loomproof.records.store import RecordStore

STEPS = 3


def write_a_record(store, make, told=lambda what: None):
    """Begin, state, and work through STEPS steps, telling after every call that returned."""
    recorder = store.recorder()
    make.begin(recorder)
    told("begun")
    recorder.statement(make.statement())
    told("statement")
    for number in range(1, STEPS + 1):
        recorder.step_began(make.step(f"drive-{number}"))
        told("step_began")
        recorder.step_ended(make.outcome(f"drive-{number}"), [make.counts(seed=number)])
        told("step_ended")


EXPECTED = ["begun", "statement", *["step_began", "step_ended"] * STEPS]


def killed_child(path: Path, make, fatal: int) -> list[str] | None:
    """Run the writer in a fork that dies at its `fatal`-th statement; what it told, None if it survived."""
    read_end, write_end = os.pipe()
    child = os.fork()
    if child == 0:  # never returns
        try:
            os.close(read_end)
            store = RecordStore(path)
            count = [0]

            def tick(*_args, **_kwargs):
                count[0] += 1
                if count[0] == fatal:
                    os.kill(os.getpid(), signal.SIGKILL)

            for name in ("before_cursor_execute", "after_cursor_execute", "commit"):
                event.listen(store._engine, name, tick)
            write_a_record(store, make, lambda what: os.write(write_end, f"{what}\n".encode()))
        finally:
            os._exit(3)
    os.close(write_end)
    with os.fdopen(read_end) as pipe:
        told = pipe.read().split()
    _, status = os.waitpid(child, 0)
    if os.WIFEXITED(status):
        assert os.WEXITSTATUS(status) == 3
        return None
    assert os.WTERMSIG(status) == signal.SIGKILL
    return told


def assert_sound_and_resumable(path: Path, make, told: list[str]) -> None:
    """What was told is there; at most one entry more; the rest can be done."""
    with RecordStore(path) as store:
        if not store.list():
            assert told == []
            return
        record = store.read("last")
        kinds = [entry.kind for entry in record.entries]
        assert record.chain.holds
        assert kinds == EXPECTED[: len(kinds)]
        assert len(told) <= len(kinds) <= len(told) + 1
        assert all(trace.counts is not None for trace in record.traces)
        assert len(record.traces) == kinds.count("step_ended")
        resumed = store.resume("last")
        make.begin(resumed.recorder)
        done = {outcome.step_id for outcome in resumed.outcomes}
        for number in range(1, STEPS + 1):
            if f"drive-{number}" not in done:
                resumed.recorder.step_began(make.step(f"drive-{number}"))
                resumed.recorder.step_ended(make.outcome(f"drive-{number}"), [make.counts(seed=number)])
        resumed.recorder.finish("pass")
        after = store.read("last")
        assert after.chain.holds
        assert after.finished.verdict == "pass"
        assert [s.step_id for s in after.steps if s.state == "ended"] == ["drive-1", "drive-2", "drive-3"]
        assert sum(s.state == "interrupted" for s in after.steps) == (kinds[-1] == "step_began")
        assert not after.unended


def test_killed_at_every_statement(tmp_path, make):
    fatal = 1
    endings = set()
    while (told := killed_child(tmp_path / f"{fatal}.sqlite3", make, fatal)) is not None:
        assert_sound_and_resumable(tmp_path / f"{fatal}.sqlite3", make, told)
        endings.add(len(told))
        fatal += 1
    assert fatal > 60  # it really stopped at many places
    assert endings == set(range(len(EXPECTED)))  # before, between and inside every call


ROOT = Path(__file__).parents[2]
WRITER = """
import sys
from tests.records.conftest import Make
from tests.records.test_killed import write_a_record
from loomproof.records.store import RecordStore
print("ready", flush=True)
write_a_record(RecordStore(sys.argv[1]), Make, lambda what: print(what, flush=True))
print("end", flush=True)
sys.stdin.read()
"""


@pytest.mark.parametrize("seed", range(4))
def test_an_interpreter_killed_from_outside(tmp_path, make, seed):
    path = tmp_path / "records.sqlite3"
    lines = 1 + random.Random(seed).randint(0, len(EXPECTED))
    with subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path)],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as child:
        told = [child.stdout.readline().strip() for _ in range(lines)]
        child.kill()
        told += child.stdout.read().split()
        child.stdin.close()
    assert child.returncode == -signal.SIGKILL
    assert told[0] == "ready"
    assert_sound_and_resumable(path, make, [word for word in told[1:] if word != "end"])
