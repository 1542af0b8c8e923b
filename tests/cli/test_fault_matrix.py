"""The promise, on the example looms: sound ones pass; a fault is named or left unsure, never passed as sound.

One case of every kind of fault, and every sound loom; `benchmarks/fault_matrix.py` works all of them.
"""

import pytest

from benchmarks import fault_matrix as matrix
from loomproof.facts.fault_kind import FaultKind

FIVE, BOAT, CLASS, BENCH = (
    "inline-five-turbo",
    "boat-four-wasted-spark",
    "classroom-vee-six",
    "bench-relays-lamps-stepper",
)
CHOSEN = (
    (BOAT, "open:5"),
    (CLASS, "open:1"),
    (BENCH, "short_to_ground:1"),
    (BOAT, "leak_to_ground:3:7"),
    (BOAT, "short_to_supply:3"),
    (FIVE, "short_across_load:12"),
    (FIVE, "added_resistance:2:8.4"),
    (BOAT, "swapped:1:2"),
    (BOAT, "swapped:4:5"),
    (FIVE, "shifted:H1:1"),
    (CLASS, "ground_open:7"),
    (FIVE, "two_on_one_wire:1:2"),
    (BENCH, "bridged:5:6"),
    (FIVE, "bridged:15:16"),
    (FIVE, "swapped:15:16"),
    (BOAT, "feed_open:F2"),
    (FIVE, "feed_weak:F1:8.4"),
    (BOAT, "shorted_turns:1"),
    (BOAT, "stuck_armature:3"),
    (BOAT, "suppression_missing:8"),
    (BENCH, "suppression_reversed:2"),
    (BOAT, "wrong_load:5:relay_plain"),
    (CLASS, "wrong_set:1:injector_high"),
    (BOAT, "intermittent:4"),
    (BOAT, "intermittent:12"),
    (CLASS, "intermittent:7"),
    (CLASS, "intermittent:13"),
    (BOAT, "weak_supply:0.8"),
)


def case_of(job, fault):
    return next(case for case in matrix.cases(job) if case.fault == fault)


@pytest.mark.parametrize("job", [FIVE, BOAT, CLASS, BENCH])
def test_a_sound_loom_passes(job):
    row = matrix.run(matrix.Case(job))
    assert row.said == "passed", row
    assert row.accused == ()


@pytest.mark.parametrize(("job", "fault"), CHOSEN, ids=str)
def test_a_fault_is_named_or_left_unsure(job, fault):
    row = matrix.run(case_of(job, fault))
    assert matrix.holds(row), row


def test_every_kind_of_fault_is_among_the_chosen():
    kinds = {case_of(job, fault).kind for job, fault in CHOSEN}
    assert kinds == set(FaultKind)


def test_the_whole_matrix_covers_every_kind_and_every_channel_of_every_example():
    for job in (FIVE, BOAT, CLASS, BENCH):
        found = list(matrix.cases(job))
        loaded = matrix.load_job(matrix.EXAMPLES / f"{job}.toml")
        opened = {case.channels[0] for case in found if case.kind is FaultKind.OPEN}
        assert opened == {entry.channel for entry in loaded.channels if entry.fitted}
        assert len({case.name for case in found}) == len(found)


def test_a_missed_fault_breaks_the_promise():
    case = matrix.Case(BOAT, "open:1", FaultKind.OPEN, (1,))
    for said, kept in (
        ("named", True),
        ("unsure", True),
        ("missed", False),
        ("other", False),
        ("accused", False),
    ):
        assert matrix.holds(matrix.Row(case, said, (), (), ())) is kept
