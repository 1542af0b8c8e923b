"""A bench without a wire, as a fixture, on the example jobs."""

from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from loomproof.facts.evidence import LoomEvidence
from loomproof.job.file.loading import load_job
from loomproof.job.model import Job
from testbed.loombench import LoomBench

EXAMPLES = Path(__file__).parents[2] / "examples"


@dataclass(frozen=True)
class Benches:
    """What tests get: the jobs and the bench."""

    jobs: dict[str, Job]

    def __call__(self, job: str, *faults: str, **keywords) -> LoomBench:
        return LoomBench(self.jobs[job], faults, **keywords)

    def with_job(self, job: Job, *faults: str, **keywords) -> LoomBench:
        return LoomBench(job, faults, **keywords)

    def change(self, evidence: LoomEvidence, channel: int, **changes) -> LoomEvidence:
        new = dict(evidence.channels)
        new[channel] = replace(new[channel], **changes)
        return replace(evidence, channels=new)


@pytest.fixture(scope="session")
def bench() -> Benches:
    names = ("inline-five-turbo", "boat-four-wasted-spark", "bench-relays-lamps-stepper", "classroom-vee-six")
    return Benches({name.split("-")[0]: load_job(EXAMPLES / f"{name}.toml") for name in names})
