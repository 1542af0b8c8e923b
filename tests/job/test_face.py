"""Where the cavities of a header lie."""

import pytest

from loomproof.job.face import face_of, mirrored
from loomproof.job.file.loading import JobError, job_digest, parse_job
from loomproof.job.model import Connector

HEAD = """
schema_version = 1
setting = "bench"
[identity]
title = "Faces"
job_number = "T-2"
[[connectors]]
id = "H1"
name = "header"
cavities = 6
"""
TAIL = """
[[channels]]
channel = 1
name = "relay"
cavity = "H1-3"
load = "relay_plain"
"""


def connector(**said) -> Connector:
    return Connector(id="H1", name="header", cavities=6, **said)


@pytest.mark.parametrize(
    ("said", "face"),
    [
        ({}, ((1, 2, 3, 4, 5, 6),)),
        ({"rows": 2}, ((1, 2, 3), (4, 5, 6))),
        ({"rows": 2, "numbering": "columns"}, ((1, 3, 5), (2, 4, 6))),
        ({"rows": 2, "numbering": "serpentine"}, ((1, 2, 3), (6, 5, 4))),
        ({"rows": 2, "first": "top_right"}, ((3, 2, 1), (6, 5, 4))),
        ({"rows": 2, "first": "bottom_left"}, ((4, 5, 6), (1, 2, 3))),
        ({"rows": 2, "first": "bottom_right"}, ((6, 5, 4), (3, 2, 1))),
        ({"rows": 2, "columns": 4}, ((1, 2, 3, 4), (5, 6, 0, 0))),
        ({"face": ((1, 0, 2), (6, 5, 4), (0, 3, 0))}, ((1, 0, 2), (6, 5, 4), (0, 3, 0))),
    ],
)
def test_a_face_lies_as_it_is_told(said, face):
    assert face_of(connector(**said)) == face


def test_the_other_side_is_the_mirror_image_and_its_mirror_the_first():
    face = face_of(connector(rows=2))
    assert mirrored(face) == ((3, 2, 1), (6, 5, 4))
    assert mirrored(mirrored(face)) == face


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("face = [[1, 2, 3], [4, 5]]", "not equally long"),
        ("face = [[1, 2, 3], [4, 5, 5]]", "cavity 5 is there twice"),
        ("face = [[1, 2, 3], [4, 5, 7]]", "no number 7"),
        ("face = [[1, 2, 3], [4, 5, 0]]", "cavity 6 is missing"),
        ("rows = 2\nface = [[1, 2, 3], [4, 5, 6]]", "all that rows could say"),
        ('seen_from = "inside"', "inside"),
        ('numbering = "spiral"', "spiral"),
    ],
)
def test_a_face_that_cannot_be_is_a_problem_at_its_connector(line, reason):
    with pytest.raises(JobError) as caught:
        parse_job(f"{HEAD}{line}\n{TAIL}")
    told = [p for p in caught.value.problems if p.key.startswith("connector H1")]
    assert any(reason in f"{p.reason} {p.remedy}" for p in told), caught.value.problems
    assert all(p.line for p in told)


def test_a_job_that_says_nothing_of_faces_has_the_digest_it_always_had():
    # The value this text had before the keys existed, printed by the version of 2026-11-24.
    assert job_digest(parse_job(HEAD + TAIL)) == DIGEST_BEFORE
    assert job_digest(parse_job(f'{HEAD}seen_from = "wire"\n{TAIL}')) != DIGEST_BEFORE


DIGEST_BEFORE = "52e6d0f82eb85eea5cbc3f28c223c5b7257045d98a19ff28cb2f0da135ff5f94"
