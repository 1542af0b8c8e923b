"""Writes docs/checking-a-box.md from the cases: `python -m loomproof.boxcheck.publish [--check]`."""

import re
import sys
from pathlib import Path

from loomproof.boxcheck.catalogue import CASES, NOT_FROM_OUTSIDE
from loomproof_wire.messages import Refusal

PAGE = Path(__file__).parents[3] / "docs" / "checking-a-box.md"

HEAD = (Path(__file__).parent / "page_head.md").read_text(encoding="utf-8")
"""The page above the table."""


def _anchor(heading: str) -> str:
    return re.sub(r"[^a-z0-9 -]", "", heading.lower()).replace(" ", "-")


def _provoking(reason: Refusal) -> list[str]:
    return [f"`{case.key}`" for case in CASES if reason in case.refusals]


def page() -> str:
    """Return the page."""
    rows = [
        f"| `{case.key}` | {case.guarantee} ([{case.rule}](protocol.md#{_anchor(case.rule)})) "
        f"| {', '.join(sorted(need.value for need in case.needs)) or 'nothing'} | {case.mend} |"
        for case in CASES
    ]
    reasons = [f"| `{reason.name.lower()}` | {', '.join(_provoking(reason))} |" for reason in Refusal]
    rest = [f"- {what}: {how}." for what, how in NOT_FROM_OUTSIDE.items()]
    return (
        HEAD
        + "\n".join(rows)
        + "\n\n## Which case provokes which refusal\n\n| reason | cases |\n| --- | --- |\n"
        + "\n".join(reasons)
        + "\n\n## What the line cannot show\n\n"
        + "\n".join(rest)
        + "\n"
    )


def main(check: bool) -> int:
    """Write the page, or say whether it is stale."""
    if not check:
        PAGE.write_text(page(), encoding="utf-8")
    elif not PAGE.exists() or PAGE.read_text(encoding="utf-8") != page():
        print(f"{PAGE} is stale: run python -m loomproof.boxcheck.publish", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main("--check" in sys.argv[1:]))
