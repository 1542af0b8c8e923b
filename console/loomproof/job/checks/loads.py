"""A job's own load types: a name of their own, and sound."""

from collections.abc import Iterator

from loomproof.job.catalogue import CATALOGUE
from loomproof.job.checks.load_values import load_flaws
from loomproof.job.file.draft import Draft
from loomproof.job.problem import Flaw


def own_load_flaws(draft: Draft) -> Iterator[Flaw]:
    """Yield what is wrong with the load types that a job brings along."""
    seen: set[str] = set()
    for placed in draft.loads:
        key = placed.part.key
        if key in CATALOGUE:
            remedy = "give it another key, or use an override on the channels"
            yield Flaw((*placed.path, "key"), f"the catalogue already has a `{key}`", remedy)
        if key in seen:
            yield Flaw((*placed.path, "key"), f"`{key}` is used twice", "give each its own key")
        seen.add(key)
        for flaw in load_flaws(placed.part):
            yield Flaw((*placed.path, *flaw.path), flaw.reason, flaw.remedy)
