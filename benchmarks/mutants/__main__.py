"""How many small errors in the source the tests of its room notice.

    python -m benchmarks.mutants [--room safety] [--count 150] [--seed N] [--jobs 2] [--minutes 20]
                                [--file budget.py] [--survivors FILE]

A mutant is the source with one error in it (`mutate.py`); it is killed when a test of its room (`room.py`) fails.
The same seed draws the same mutants from the same source. Those of `equivalent.toml` change nothing that anybody
could notice and are not drawn. Exit code 1 when a room's share is below its least.

Kept tools were tried first. One changes only what stands in undecorated functions, so none of the tables, fields
and properties that hold the limits here, and draws no sample; another replaces operators in annotations as well,
which nobody can notice, and knows neither members of enumerations nor a sample with a seed; a third declares no
Python after 3.8. None runs each mutant against the tests of its room alone.
"""

import argparse
import math
import random
import sys
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from benchmarks.mutants.interval import wilson
from benchmarks.mutants.room import ROOMS, ROOT, Room, equivalents, population
from benchmarks.mutants.trial import Fate, TrialError, try_all

COUNT = 150
TOLD_AFTER = 10


def _say(line: str) -> None:
    print(line, flush=True)


def measure(
    room: Room,
    *,
    count: int,
    seed: int,
    jobs: int,
    survivors: Path | None,
    files: Sequence[str] = (),
    minutes: float = math.inf,
) -> bool:
    """Draw mutants of a room, try them, print the figures.

    Args:
        room: where they are drawn.
        count: how many.
        seed: of the draw.
        jobs: how many at a time.
        survivors: those that survive are appended to this file.
        files: names of the files they are drawn from; empty: all of the room.
        minutes: no more are begun after so long.

    Returns:
        Whether the share is enough.
    """
    known = equivalents()
    whole = [
        mutant
        for mutant in population(room)
        if mutant.key not in known and (not files or Path(mutant.path).name in files)
    ]
    drawn = random.Random(seed).sample(whole, min(count, len(whole)))
    _say(f"{room.name}: {len(drawn)} of {len(whole)} mutants, seed {seed}")
    began_s = time.monotonic()
    fates: Counter[Fate] = Counter()
    until_s = began_s + 60.0 * minutes
    for mutant, fate in try_all(ROOT, drawn, room, jobs=jobs, report=_say, until_s=until_s):
        fates[fate] += 1
        if fates.total() % TOLD_AFTER == 0:
            _say(f"  {fates.total()} tried, {fates[Fate.SURVIVED]} survived")
        if fate is Fate.SURVIVED:
            _say(f"  survived: {mutant}")
            if survivors is not None:
                with survivors.open("a") as file:
                    file.write(f"{mutant}\n")
    tried = fates.total()
    if tried == 0:
        _say(f"{room.name}: none was tried in {minutes:g} min")
        return False
    hits = tried - fates[Fate.SURVIVED]
    low, high = wilson(hits, tried)
    took = (time.monotonic() - began_s) / 60
    _say(
        f"{room.name}: killed {fates[Fate.KILLED]}, timeout {fates[Fate.TIMEOUT]}, "
        f"survived {fates[Fate.SURVIVED]} of {tried}: {hits / tried:.1%} noticed "
        f"(95 % interval {low:.1%} to {high:.1%}; at least {room.least:.0%} asked), {took:.1f} min"
    )
    return hits >= room.least * tried


def main(words: Sequence[str] | None = None) -> int:
    """Measure the rooms; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.mutants", description=__doc__.split("\n")[0])
    names = [room.name for room in ROOMS]
    parser.add_argument("--room", action="append", choices=names, help="only this room; may be repeated")
    parser.add_argument(
        "--count", type=int, default=COUNT, help="mutants of each room (default: %(default)d)"
    )
    parser.add_argument("--seed", type=int, default=1, help="of the draw (default: %(default)d)")
    parser.add_argument("--jobs", type=int, default=2, help="trials at a time (default: %(default)d)")
    parser.add_argument("--survivors", type=Path, help="append those that survive to this file")
    parser.add_argument(
        "--minutes", type=float, default=math.inf, help="begin no more of a room after so long"
    )
    parser.add_argument("--file", action="append", help="only files of this name; may be repeated")
    options = parser.parse_args(words)
    if options.count < 1 or options.jobs < 1 or not options.minutes > 0.0:
        parser.error("--count and --jobs must be at least 1, --minutes above 0")
    rooms = [room for room in ROOMS if not options.room or room.name in options.room]
    files = options.file or []
    if unknown := set(files) - {path.name for room in rooms for path in room.files()}:
        parser.error(
            f"no such file in {', '.join(room.name for room in rooms)}: {', '.join(sorted(unknown))}"
        )
    try:
        enough = [
            measure(
                room,
                count=options.count,
                seed=options.seed,
                jobs=options.jobs,
                survivors=options.survivors,
                files=files,
                minutes=options.minutes,
            )
            for room in rooms
            if not files or {path.name for path in room.files()} & set(files)
        ]
    except TrialError as error:
        print(error, file=sys.stderr)
        return 2
    return 0 if all(enough) else 1


if __name__ == "__main__":
    sys.exit(main())
