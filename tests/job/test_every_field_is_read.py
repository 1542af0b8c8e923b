"""Nothing is asked for in a job file that nobody reads: what a file says has to change something somebody sees."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from loomproof.job.load_type import DriveLimits, LoadType
from loomproof.job.model import Job, LimitsOverride, LoadOverride
from tests.job.field_readers import fields_read, models_of

ROOT = Path(__file__).parents[2]
JOB = ROOT / "console" / "loomproof" / "job"
NOT_READERS = (
    *(JOB / name for name in ("model.py", "load_type.py", "engine.py", "quantity.py", "templates.py")),
    JOB / "pinout" / "job_text.py",
    *(JOB / "checks").glob("*.py"),
    *(JOB / "file").glob("*.py"),
)
"""What declares the fields, checks them, or writes them: to be checked is not to be read."""
STANDS_FOR = {LoadOverride: LoadType, LimitsOverride: DriveLimits}
"""What is written in an override is read as the field it overrides."""
KNOWN = {"CATALOGUE": frozenset({LoadType})}
EXEMPT = {(Job, "schema_version"): "says by which rules the rest is read; any other is refused"}


def sources(without: str = "") -> Iterator[str]:
    for folder in (ROOT / "console" / "loomproof", ROOT / "firmware_sim" / "loomproof_sim"):
        for path in sorted(folder.rglob("*.py")):
            if path not in NOT_READERS and path.name != without:
                yield path.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def read():
    return fields_read(Job, sources(), KNOWN)


def all_fields():
    for model in sorted(models_of(Job), key=lambda model: model.__name__):
        for name in model.model_fields:
            yield pytest.param(model, name, id=f"{model.__name__}.{name}")


@pytest.mark.parametrize(("model", "name"), all_fields())
def test_a_field_of_the_job_file_has_a_reader(read, model, name):
    if (model, name) in EXEMPT:
        assert (model, name) not in read, "it has a reader now: exempt it no longer"
        return
    owner = STANDS_FOR.get(model)
    if owner is None or name not in owner.model_fields:
        assert (model, name) in read, f"nobody reads {model.__name__}.{name}: show it, use it, or take it out"
        return
    assert (owner, name) in read
    assert {(Job, "channels"), *(((LoadOverride, "limits"),) if model is LimitsOverride else ())} <= read


def test_what_is_left_out_of_the_readers_is_there() -> None:
    assert all(path.is_file() for path in NOT_READERS)


def test_the_walk_over_the_sources_finds_a_field_without_a_reader():
    """Who shows the fuse is taken away, and the fuse is found unread."""
    unread = {(model.__name__, name) for model in models_of(Job) for name in model.model_fields} - {
        (model.__name__, name) for model, name in fields_read(Job, sources(without="overview.py"), KNOWN)
    }
    assert ("Feed", "fuse_a") in unread
    assert ("Channel", "cavity") not in unread


PROBES = {
    "a chain": ("def f(job: Job): return job.identity.title", {"Job.identity", "LoomIdentity.title"}),
    "a loop": ("def f(job):\n for x in job.feeds:\n  print(x.fuse_a)", {"Job.feeds", "Feed.fuse_a"}),
    "a comprehension": (
        "def f(job): return [c.wire for c in sorted(job.channels)]",
        {"Job.channels", "Channel.wire"},
    ),
    "a method": ("def f(core): return core.job.location_of(1).place", {"Location.place", "Job.locations"}),
    "a property": (
        "def f(place: Location): return place.serves",
        {"Location.cylinder", "Location.cylinders"},
    ),
    "a parameter": ("def f(engine: Engine | None): return engine.ignition", {"Engine.ignition"}),
    "another's attribute of that name": ("def f(thing): return thing.fuse_a", set()),
    "a name used again for something else": (
        "def f(feed: Feed): pass\ndef g(feed: str): return feed.fuse_a",
        set(),
    ),
    "writing": ("def f(feed: Feed): return Feed(fuse_a=3)", set()),
}


@pytest.mark.parametrize("probe", PROBES)
def test_the_walk_itself(probe):
    source, due = PROBES[probe]
    found = {f"{model.__name__}.{name}" for model, name in fields_read(Job, [source], KNOWN)}
    assert due <= found
    assert found or not due
    if not due:
        assert not found
