"""Exit codes that several commands share."""

from __future__ import annotations

BAD_JOB = 2
"""Exit code of a bad job file, record or call."""
