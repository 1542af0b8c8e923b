"""Writes docs/checking-a-box.md from the cases: `python -m loomproof.boxcheck.publish [--check]`."""

import sys
from pathlib import Path

from loomproof.boxcheck.catalogue import CASES, NOT_FROM_OUTSIDE
from loomproof_wire.messages import Refusal

PAGE = Path(__file__).parents[3] / "docs" / "checking-a-box.md"

HEAD = """<!-- Generated from the cases of console/loomproof/boxcheck by `python -m loomproof.boxcheck.publish`. Do not edit. -->
# Checking a box

`loomproof box-check` tries whether a box keeps what [the protocol page](protocol.md) promises. It is for whoever builds
a box or changes its firmware; it needs nothing but the line, and says of each broken guarantee what the box did and where
to look.

> **WARNING** The cases switch loads on and off many times, for up to two seconds each. Use dummy loads, or relays, valves
> and lamps that nothing dangerous hangs on. Have a switch that removes the power within reach: neither the program's keys
> nor the box's stop button is an emergency stop.

| you have | say | what is driven |
| --- | --- | --- |
| only the board | `loomproof box-check --box PORT` | nothing: frames, sessions, configuration and stops are checked |
| dummy loads, 47 Ω 10 W each | `... --channel 1 --channel 2 --channel 3 --channel 4` | these, after you typed `dummy loads` |
| a loom with its job | `... --job JOB` | its relays, valves and lamps without a hazard |
| somebody at the box | add `--hands` | the same; they press the stop button, switch the supply, pull a connector when asked |
| no box at all | `loomproof box-check --box sim://` | the simulated one |

Classes such as `fuel` are tried on the same harmless channels, which are only called so in their configuration. Two
channels are needed for the whole suite but the stepper (four) and the bridge (two half-bridge channels).

Each case is **kept**, **broken** or **not run**; not run means not shown. The exit code is 0 when nothing is broken (with
`--complete`: and nothing was left out), 1 when something is, 2 for wrong usage, 3 when no box answers. `--json` prints the
result for other programs, `--only CASE` runs one case, `--list` lists them. Times may be late by 10 ms in the box and by
100 ms on the line; in virtual time the line adds nothing. At the end the box is stopped, whatever happened.

## The cases

| case | guarantee | needs | where to look when it is broken |
| --- | --- | --- | --- |
"""


def page() -> str:
    """Return the page."""
    rows = [
        f"| `{case.key}` | {case.guarantee} ([{case.rule}](protocol.md#{case.rule.lower().replace(' ', '-')})) "
        f"| {', '.join(sorted(need.value for need in case.needs)) or 'nothing'} | {case.mend} |"
        for case in CASES
    ]
    reasons = [
        f"| `{reason.name.lower()}` | {', '.join(f'`{case.key}`' for case in CASES if reason in case.refusals)} |"
        for reason in Refusal
    ]
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
