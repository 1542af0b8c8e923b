"""Every single fault on every channel of the example jobs, through the whole run sheet, on the simulated box.

    python -m benchmarks.fault_matrix [JOB ...] [--kind open] [--seeds 1] [--workers 2] [--misses] [--page FILE]
                                      [--kept FILE] [--looms 100 --draw SEED]

Prints a row for each fault with what was said of it, and a table of counts. Exit code 1 when a faulty
channel was passed as sound, or a sound loom was not passed. Runs in virtual time: no wall-clock figure is
asserted. With `--kept` every row is written to a file as soon as it is known, and one that stands there already is not
run again: an interrupted run goes on where it was. Delete the file when the program has changed.
"""

from __future__ import annotations

import argparse
import datetime
import json
import random
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from urllib.parse import quote, urlencode

from loomproof.box.connect import connect
from loomproof.cli.prove.simulated_operator import SimulatedOperator
from loomproof.diagnose.faults.registry import FAULTS
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.finding import Finding
from loomproof.facts.kinds import Suppression
from loomproof.facts.verdict import Verdict, channel_verdict
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.file.loading import load_job
from loomproof.job.load_traits import LOGIC_KINDS, WOUND_KINDS
from loomproof.job.model import Job
from loomproof.job.shift import wires_shifted
from loomproof.procedure.session import Session
from loomproof_sim.named_boxes import find, forget

EXAMPLES = Path(__file__).resolve().parents[1] / "examples"
ADDED_SHARE = 0.6
"""Added resistance over the load's own: well past the tolerance of every part of the catalogue."""
LEAK_SHARE = 0.5
"""A leak to ground over the load's own resistance."""
OTHER_LOAD = {
    "injector_high": "injector_low",
    "injector_low": "injector_high",
    "coil_bare": "relay_plain",
    "coil_igniter": "coil_bare",
    "relay_plain": "valve_purge",
    "lamp_21w": "lamp_1w2",
    "lamp_5w": "lamp_21w",
    "lamp_1w2": "lamp_21w",
    "motor_throttle": "relay_plain",
    "stepper_idle": "injector_high",
    "tacho_input": "lamp_5w",
}


@dataclass(frozen=True, slots=True)
class Case:
    """One loom: a job, one fault (or none) and a seed."""

    job: str
    fault: str = ""
    kind: FaultKind | None = None
    channels: tuple[int, ...] = ()
    seed: int = 1

    @property
    def name(self) -> str:
        """For a test's id."""
        return f"{self.job}-{self.fault or 'sound'}-{self.seed}"


@dataclass(frozen=True, slots=True)
class Row:
    """What the run said of a case.

    `said`: named, twin (beside one that looks alike), other, unsure, missed; a sound loom: passed, accused.
    """

    case: Case
    said: str
    verdicts: tuple[str, ...]
    findings: tuple[str, ...]
    accused: tuple[int, ...]


def cases(name: str, seed: int = 1) -> Iterator[Case]:
    """The sound loom, then every single fault that its channels can have."""
    job = load_job(EXAMPLES / f"{name}.toml")
    yield Case(name, seed=seed)
    for entry in sorted(job.channels, key=lambda c: c.channel):
        if entry.fitted:
            for kind, text in _of_channel(job, entry.channel):
                yield Case(name, text, kind, (entry.channel,), seed)
    yield from _of_pairs(job, name, seed)
    yield from _of_sets(job, name, seed)
    for feed in job.feeds:
        fed = tuple(c.channel for c in job.channels if c.feed == feed.id and c.fitted)
        if fed:
            yield Case(name, f"feed_open:{feed.id}", FaultKind.FEED_OPEN, fed, seed)
            ohm = _weak_ohm(job, fed)
            yield Case(name, f"feed_weak:{feed.id}:{ohm:.3g}", FaultKind.FEED_WEAK, fed, seed)
    yield Case(name, "weak_supply:0.8", FaultKind.WEAK_SUPPLY, (), seed)


def _of_channel(job: Job, channel: int) -> Iterator[tuple[FaultKind, str]]:
    load = job.load_type(channel)
    ohm = load.resistance_ohm.value if load.resistance_ohm else 10.0
    for kind in (FaultKind.OPEN, FaultKind.SHORT_TO_GROUND, FaultKind.SHORT_TO_SUPPLY):
        yield kind, f"{kind}:{channel}"
    yield FaultKind.LEAK_TO_GROUND, f"leak_to_ground:{channel}:{LEAK_SHARE * ohm:.3g}"
    if load.kind not in LOGIC_KINDS:
        yield FaultKind.SHORT_ACROSS_LOAD, f"short_across_load:{channel}"
    yield FaultKind.ADDED_RESISTANCE, f"added_resistance:{channel}:{max(0.5, ADDED_SHARE * ohm):.3g}"
    if load.kind in WOUND_KINDS:
        yield FaultKind.SHORTED_TURNS, f"shorted_turns:{channel}"
    if FAULTS[FaultKind.STUCK_ARMATURE].fits(load):
        yield FaultKind.STUCK_ARMATURE, f"stuck_armature:{channel}"
    if load.suppression is not Suppression.NONE:
        yield FaultKind.SUPPRESSION_MISSING, f"suppression_missing:{channel}"
    if load.suppression is Suppression.DIODE:
        yield FaultKind.SUPPRESSION_REVERSED, f"suppression_reversed:{channel}"
    other = OTHER_LOAD.get(job.channel(channel).load)
    if other in CATALOGUE:
        yield FaultKind.WRONG_LOAD, f"wrong_load:{channel}:{other}"
    yield FaultKind.INTERMITTENT, f"intermittent:{channel}"


def _weak_ohm(job: Job, fed: tuple[int, ...]) -> float:
    """A weak feed that shows on all of its loads, driven one at a time: past the tolerance of the largest."""
    loads = [job.load_type(channel).resistance_ohm for channel in fed]
    return max(1.0, ADDED_SHARE * max((ohm.value for ohm in loads if ohm is not None), default=2.0))


def _of_pairs(job: Job, name: str, seed: int) -> Iterator[Case]:
    """Each channel swapped and bridged with the next one, so that like and unlike loads meet."""
    fitted = sorted(c.channel for c in job.channels if c.fitted)
    for one, two in pairwise(fitted):
        if job.channel(one).partner == two:
            continue
        yield Case(name, f"swapped:{one}:{two}", FaultKind.SWAPPED, (one, two), seed)
        yield Case(name, f"bridged:{one}:{two}", FaultKind.BRIDGED, (one, two), seed)
        if FAULTS[FaultKind.TWO_ON_ONE_WIRE].fits(job.load_type(one), job.load_type(two)):
            yield Case(name, f"two_on_one_wire:{one}:{two}", FaultKind.TWO_ON_ONE_WIRE, (one, two), seed)


def _of_sets(job: Job, name: str, seed: int) -> Iterator[Case]:
    """Each set of loads of one type as another, and each connector one cavity on and back."""
    done: set[int] = set()
    for entry in job.channels:
        whole = tuple(sorted({entry.channel, *job.sisters(entry.channel)}))
        other = OTHER_LOAD.get(entry.load)
        if (
            not entry.fitted
            or len(whole) < 2
            or entry.partner is not None
            or entry.channel in done
            or other not in CATALOGUE
        ):
            continue
        done |= set(whole)
        if FAULTS[FaultKind.WRONG_SET].fits(job.load_type(entry.channel)):
            yield Case(name, f"wrong_set:{entry.channel}:{other}", FaultKind.WRONG_SET, whole, seed)
    for kind in LOGIC_KINDS:
        inputs = tuple(c.channel for c in job.channels if c.fitted and job.load_type(c.channel).kind is kind)
        if len(inputs) > 1:
            yield Case(name, f"ground_open:{inputs[0]}", FaultKind.GROUND_OPEN, inputs, seed)
    for connector in job.connectors:
        there = tuple(sorted(c for c in wires_shifted(job, connector.id, 1) if job.channel(c).fitted))
        for by in (1, -1) if len(there) > 1 else ():
            yield Case(name, f"shifted:{connector.id}:{by}", FaultKind.SHIFTED, there, seed)


def run(case: Case) -> Row:
    """Work the whole run sheet on a fresh simulated box."""
    path = EXAMPLES / f"{case.job}.toml"
    job = load_job(path)
    query = [("seed", str(case.seed)), ("clock", "virtual"), ("name", case.name)]
    if case.fault:
        query.append(("fault", case.fault))
    url = f"sim://{quote(str(path))}?{urlencode(query)}"
    box = connect(url, auto_call_in=True)
    try:
        session = Session(job, box, SimulatedOperator(find(case.name).hands, job))
        session.open()
        session.run_all()
        session.close()
        return _row(case, job, session)
    finally:
        box.close()
        forget(case.name)


def _row(case: Case, job: Job, session: Session) -> Row:
    verdicts = {c.channel: channel_verdict(session.verdicts(), c.channel) for c in job.channels if c.fitted}
    findings = session.findings()
    # What hangs between two half-bridges is one load.
    touched = set(case.channels) | {job.channel(c).partner for c in case.channels}
    accused = tuple(
        channel
        for channel, verdict in verdicts.items()
        if verdict is Verdict.FAIL and channel not in touched and case.kind is not FaultKind.WEAK_SUPPLY
    )
    if case.kind is None:
        said = "passed" if session.verdict() is Verdict.PASS else "accused"  # as the command ends
    else:
        said = _said(case, findings, [verdicts[c] for c in case.channels])
    words = tuple(f"{c}:{v}" for c, v in verdicts.items() if c in touched or v is not Verdict.PASS)
    return Row(case, said, words, tuple(_short(f) for f in findings), accused)


def _said(case: Case, findings: Sequence[Finding], verdicts: Sequence[Verdict]) -> str:
    mine = [f for f in findings if not case.channels or set(f.channels) & set(case.channels)]
    if any(f.fault is case.kind for f in findings if f in mine or f.feed):
        return "named"
    if any(case.kind in f.cannot_tell_from for f in mine):
        return "twin"
    if any(v is Verdict.PASS for v in verdicts) or (not verdicts and not findings):
        return "missed"
    if any(v is Verdict.UNSURE for v in verdicts):
        return "unsure"
    return "other" if mine else "unsure" if Verdict.NOT_TESTED in verdicts else "failed unnamed"


def _short(finding: Finding) -> str:
    where = ",".join(str(c) for c in finding.channels) or finding.feed or "supply"
    twins = "".join(f"|{kind}" for kind in finding.cannot_tell_from)
    return f"{finding.fault}{twins}@{where}({finding.likelihood:.2f})"


def holds(row: Row) -> bool:
    """The promise: a sound loom passes; a fault is named or left unsure, never passed."""
    return row.said in ("passed", "named", "twin", "unsure")


def main() -> int:
    """Run what was asked for and print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("jobs", nargs="*", default=sorted(path.stem for path in EXAMPLES.glob("*.toml")))
    parser.add_argument("--kind", action="append", default=[], help="only faults of this kind, or `sound`")
    parser.add_argument("--channel", type=int, action="append", default=[])
    parser.add_argument("--skip", action="append", default=[], help="leave out this fault, such as open:5")
    parser.add_argument("--seeds", type=int, default=1)
    parser.add_argument("--looms", type=int, help="draw so many of them; unsaid: all")
    parser.add_argument("--draw", type=int, default=1, help="seed of that draw")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--misses", action="store_true", help="print only the rows that break the promise")
    parser.add_argument("--kept", type=Path, help="keep the rows in this file and go on from it")
    parser.add_argument("--page", type=Path, help="write the result as Markdown, for docs/fault-matrix.md")
    options = parser.parse_args()
    chosen = [
        case
        for name in (Path(job).stem for job in options.jobs)
        for seed in range(1, options.seeds + 1)
        for case in cases(name, seed)
        if (not options.kind or (str(case.kind) if case.kind else "sound") in options.kind)
        and case.fault not in options.skip
        and (not options.channel or set(options.channel) & set(case.channels))
    ]
    if options.looms is not None and options.looms < len(chosen):
        drawn = set(random.Random(options.draw).sample(range(len(chosen)), options.looms))
        chosen = [case for number, case in enumerate(chosen) if number in drawn]
    counts: Counter[tuple[str, str]] = Counter()
    broken = false_alarms = 0
    unusual: list[Row] = []
    with ProcessPoolExecutor(options.workers) as pool:
        for row in _rows(pool, chosen, options.kept):
            counts[str(row.case.kind) if row.case.kind else "sound", row.said] += 1
            broken += not holds(row)
            false_alarms += len(row.accused)
            unusual += [row] if row.said not in {"passed", "named", "twin"} or row.accused else []
            if not options.misses or not holds(row):
                alarm = f"  ACCUSED {row.accused}" if row.accused else ""
                found = "; ".join(row.findings)
                print(
                    f"{row.said:8} {row.case.name:58} {' '.join(row.verdicts)}  {found}{alarm}",
                    flush=True,
                )
    _print_counts(counts)
    summary = f"{len(chosen)} looms, {broken} break the promise, {false_alarms} sound channels failed beside a fault"
    print(summary)
    if options.page:
        options.page.write_text(page(counts, unusual, summary), encoding="utf-8")
    return 1 if broken else 0


def _rows(pool: Executor, chosen: Sequence[Case], kept: Path | None) -> Iterator[Row]:
    """What each case said, in order: from the kept rows, else by running it."""
    known: dict[str, list[str | list[str] | list[int]]] = {}
    if kept is not None and kept.exists():
        known = dict(json.loads(line) for line in kept.read_text(encoding="utf-8").splitlines())
    fresh = pool.map(run, [case for case in chosen if case.name not in known])
    for case in chosen:
        if case.name in known:
            said, verdicts, findings, accused = known[case.name]
            yield Row(case, str(said), tuple(verdicts), tuple(findings), tuple(accused))  # type: ignore[arg-type]
            continue
        row = next(fresh)
        if kept is not None:
            with kept.open("a", encoding="utf-8") as file:
                file.write(
                    json.dumps([case.name, [row.said, row.verdicts, row.findings, row.accused]]) + "\n"
                )
        yield row


COLUMNS = ("passed", "named", "twin", "unsure", "other", "missed", "accused", "failed unnamed")


def page(counts: Counter[tuple[str, str]], unusual: Sequence[Row], summary: str) -> str:
    """The counts, and every loom that was not simply named or passed, as Markdown."""
    today = datetime.datetime.now(tz=datetime.UTC).date()
    words = [word for before, word in pairwise(["", *sys.argv[1:]]) if "--kept" not in (before, word)]
    command = " ".join(["python -m benchmarks.fault_matrix", *words])
    lines = [
        "# Every fault on the example jobs, through the whole run sheet",
        "",
        f"`{command}`, {today}, simulated boxes. {summary}.",
        "",
        "*named*: the fault, at its place, is a finding. *twin*: a finding says that this fault would look the same. "
        "*unsure*: the channel is neither passed nor failed. *other*: failed, but as another fault. *missed*: passed. "
        "How often on random looms: [measuring](measuring.md#how-often-the-findings-are-right).",
        "",
        "| fault | " + " | ".join(COLUMNS) + " |",
        "| --- |" + " --- |" * len(COLUMNS),
    ]
    for kind in ["sound", *map(str, FaultKind)]:
        numbers = [counts[kind, column] for column in COLUMNS]
        if any(numbers):
            lines.append(f"| {kind.replace('_', ' ')} | " + " | ".join(str(n or "") for n in numbers) + " |")
    lines += [
        "",
        "Not simply named or passed:",
        "",
        "| said | loom | verdicts | findings |",
        "| --- | --- | --- | --- |",
    ]
    for row in unusual:
        said = row.said + (f", beside it failed {row.accused}" if row.accused else "")
        found = "; ".join(row.findings).replace("|", " or ")
        lines.append(f"| {said} | {row.case.name} | {' '.join(row.verdicts)} | {found} |")
    return "\n".join(lines) + "\n"


def _print_counts(counts: Counter[tuple[str, str]]) -> None:
    print(f"\n{'':22}" + "".join(f"{column:>10}" for column in COLUMNS))
    for kind in ["sound", *FaultKind]:
        row = [counts[str(kind), column] for column in COLUMNS]
        if any(row):
            print(f"{kind!s:22}" + "".join(f"{count or '':>10}" for count in row))


if __name__ == "__main__":
    sys.exit(main())
