"""A new job is sound as it stands."""

import pytest

from loomproof.facts.kinds import JobSetting, LoadKind
from loomproof.job.engine import Engine
from loomproof.job.file.loading import parse_job
from loomproof.job.templates import new_job_text

ODD_TITLE = 'a "quoted" title\nof two lines'


def test_without_an_engine() -> None:
    job = parse_job(new_job_text(ODD_TITLE, "7", setting=JobSetting.CLASSROOM))
    assert job.identity.title == ODD_TITLE
    assert job.setting is JobSetting.CLASSROOM
    assert [channel.load for channel in job.channels] == ["relay_plain"]


@pytest.mark.parametrize(
    ("order", "ignition", "coils"),
    [([1, 2, 3], "single", 3), ([1, 3, 4, 2], "wasted_spark", 2), ([1, 2, 4, 5, 3], "none", 0)],
)
def test_with_an_engine(order: list[int], ignition: str, coils: int) -> None:
    engine = Engine.model_validate({"cylinders": len(order), "firing_order": order, "ignition": ignition})
    job = parse_job(new_job_text("x", "1", engine=engine))
    assert job.engine == engine
    kinds = [job.load_type(channel.channel).kind for channel in job.channels]
    assert kinds.count(LoadKind.INJECTOR) == len(order)
    assert kinds.count(LoadKind.COIL) == coils
    served = [location.serves for location in job.locations if location.id.startswith("coil")]
    assert sorted(number for serves in served for number in serves) == sorted(order if coils else [])


def test_an_engine_that_outgrows_the_box() -> None:
    engine = Engine.model_validate({"cylinders": 9, "firing_order": list(range(1, 10))})
    with pytest.raises(ValueError, match="18 outputs are needed"):
        new_job_text("x", "1", engine=engine)
