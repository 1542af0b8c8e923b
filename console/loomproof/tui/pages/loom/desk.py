"""From a job to its head as the pages show it. Pure."""

from __future__ import annotations

from loomproof.job.model import Job
from loomproof.tui.pages.loom.view import JobView


def job_view(job: Job) -> JobView:
    """Return the head of a job."""
    who = job.identity
    return JobView(
        title=who.title,
        number=who.job_number,
        customer=who.customer,
        vehicle=who.vehicle,
        builder=who.builder,
        setting=job.setting.value,
        note=who.note,
    )
