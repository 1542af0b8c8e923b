from pathlib import Path

import pytest

from loomproof.facts.kinds import JobSetting
from testbed.jobs import hazards_job


@pytest.fixture(scope="session")
def make_job():
    def make(setting=JobSetting.VEHICLE, displacement=2000):
        return hazards_job(setting, displacement, crank_and_motion=True)

    return make


@pytest.fixture(scope="session")
def job(make_job):
    return make_job()


@pytest.fixture(scope="session")
def examples():
    return sorted((Path(__file__).parents[2] / "examples").glob("*.toml"))
