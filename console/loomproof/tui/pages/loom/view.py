"""The head of the job, as the loom page and the record page show it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class JobView:
    """The head of the job."""

    title: str = "no job"
    number: str = ""
    customer: str = ""
    vehicle: str = ""
    builder: str = ""
    setting: str = ""
    note: str = ""
