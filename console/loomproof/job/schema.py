"""The JSON Schema of a job file, for editors that know how to use one."""

import json
from typing import Any

from loomproof.job.model import Job


def job_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a job file.

    It knows keys, types, choices and bounds; what the parts must agree on only `loomproof check` knows.
    """
    schema = Job.model_json_schema()
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **schema,
        "title": "Loomproof job",
        "description": "One wiring loom to be proven, output by output.",
    }


def job_schema_text() -> str:
    """Return the schema as it stands in docs/job.schema.json."""
    return json.dumps(job_schema(), indent=2, ensure_ascii=False) + "\n"
