"""`loomproof box-check`: does a box keep what the protocol promises?"""

import json
import sys
from collections import Counter
from pathlib import Path
from typing import Annotated, Any, Never

import typer
from rich import box as table_shapes
from rich.console import Console
from rich.table import Table
from rich.text import Text

from loomproof.boxcheck.case import CheckCase
from loomproof.boxcheck.catalogue import CASES, NOT_FROM_OUTSIDE
from loomproof.boxcheck.fixture import Fixture
from loomproof.boxcheck.line import LineLostError, RawLine, open_line
from loomproof.boxcheck.outcome import Failed, Outcome
from loomproof.boxcheck.requests import Tolerance
from loomproof.boxcheck.run import Result, run_suite
from loomproof.boxcheck.subjects import Subject, Subjects, harmless_subjects
from loomproof.cli.box_check.hands import PersonHands, hands_of_port, simulated_subjects
from loomproof.job.file.loading import JobError, load_job
from loomproof.link.address import AddressKind, kind_of
from loomproof_wire.messages import FRAME

EXIT_KEPT, EXIT_BROKEN, EXIT_USAGE, EXIT_NO_BOX = 0, 1, 2, 3
DUMMY_WORD = "dummy loads"
WARNING = (
    "WARNING: this drives the channels {channels} many times, for up to two seconds each. A relay "
    "that pulls in "
    "switches whatever hangs on its contacts; a lamp gets hot. Nothing that moves, sparks, heats or "
    "carries fuel may "
    "hang on them. Keep a switch that removes the power in reach: no key and no frame is an emergency stop."
)


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("box-check", short_help="Does a box keep the protocol's guarantees?")(box_check)


def box_check(
    box: Annotated[
        str, typer.Option("--box", metavar="URL", help="Port of the box; sim:// for a simulated one.")
    ],
    job: Annotated[Path | None, typer.Option(help="Drive the harmless channels of this job.")] = None,
    channel: Annotated[
        list[int] | None,
        typer.Option(help="Channel with a dummy load, or one of the job's; may be repeated."),
    ] = None,
    confirm: Annotated[
        str | None, typer.Option(metavar="TEXT", help=f"Say '{DUMMY_WORD}' here instead of typing it.")
    ] = None,
    only: Annotated[
        list[str] | None, typer.Option(metavar="CASE", help="Run this case; may be repeated.")
    ] = None,
    hands: Annotated[
        bool, typer.Option("--hands", help="Somebody is there to press stop, pull a connector.")
    ] = False,
    complete: Annotated[bool, typer.Option("--complete", help="Count cases not run as broken.")] = False,
    list_cases: Annotated[
        bool, typer.Option("--list", help="List the cases and end; opens no port.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
    baud: Annotated[int, typer.Option("--baud", help="Line rate of serial ports.")] = FRAME.default_baud,
) -> None:
    """Check that a box keeps the guarantees of the protocol, in words a maker of a board can act on.

    Without --job or --channel nothing is driven: only what needs no load is checked. With --job the relays,
    valves and lamps of the job whose hazard class is `none` are driven; with --channel alone those channels,
    which must have dummy loads (say 47 ohm, 10 W) and nothing else on them.

    Exit code: 0 every case that was run is kept, 1 a guarantee is broken, 2 usage, 3 no box.
    """
    out = Console(highlight=False)
    cases = _chosen(only)
    if list_cases:
        out.print(_case_table(cases))
        return
    subjects = _subjects(box, job, channel or [], confirm)
    try:
        line = open_line(box, baud)
    except LineLostError as error:
        _fail(str(error), EXIT_NO_BOX)
    tolerance = Tolerance(line_ms=0, patience_ms=0) if line.virtual else Tolerance()
    fixture = Fixture(line, subjects, hands_of_port(line.port) or PersonHands(present=hands), tolerance)
    try:
        results = run_suite(fixture, cases, lambda result: None if as_json else _tell(out, result))
    except (Failed, LineLostError) as error:
        _fail(f"{box}: {error}", EXIT_NO_BOX)
    finally:
        _close(line)
    if as_json:
        print(json.dumps(_record(box, fixture, results), indent=2))
    else:
        _summary(out, fixture, results)
    wrong = {Outcome.BROKEN, Outcome.NOT_RUN} if complete else {Outcome.BROKEN}
    raise typer.Exit(EXIT_BROKEN if any(result.outcome in wrong for result in results) else EXIT_KEPT)


def _close(line: RawLine) -> None:
    try:
        line.close()
    except LineLostError:
        return


def _chosen(only: list[str] | None) -> tuple[CheckCase, ...]:
    if not only:
        return CASES
    unknown = sorted(set(only) - {case.key for case in CASES})
    if unknown:
        _fail(f"no case is called {', '.join(unknown)}; --list names them all", EXIT_USAGE)
    return tuple(case for case in CASES if case.key in only)


def _subjects(box: str, job: Path | None, channels: list[int], confirm: str | None) -> Subjects:
    """Return the channels that may be driven; asks for the typed word where only the operator can know."""
    if job is not None:
        subjects = _of_job(job, channels)
    elif channels:
        subjects = Subjects(tuple(Subject(number) for number in dict.fromkeys(channels)))
    elif kind_of(box) is AddressKind.SIMULATED:
        return simulated_subjects(box)
    else:
        return Subjects()
    if kind_of(box) is AddressKind.SIMULATED:
        return subjects
    print(WARNING.format(channels=", ".join(str(s.channel) for s in subjects.switched)), file=sys.stderr)
    if job is None:
        _confirm(confirm)
    return subjects


def _confirm(word: str | None) -> None:
    if word is None:
        word = typer.prompt(
            f"If only dummy loads hang on them, type: {DUMMY_WORD}", default="", show_default=False
        )
    if word.strip().lower() != DUMMY_WORD:
        _fail(f"not confirmed ('{DUMMY_WORD}'); nothing was driven", EXIT_USAGE)


def _of_job(path: Path, channels: list[int]) -> Subjects:
    try:
        subjects = harmless_subjects(load_job(path))
    except JobError as error:
        _fail(f"job {path}: {error}", EXIT_USAGE)
    except OSError as error:
        _fail(f"job {path}: {error.strerror}; give the path of a job file", EXIT_USAGE)
    known = {subject.channel for subject in subjects.switched}
    harmful = sorted(set(channels) - known)
    if harmful:
        _fail(
            f"channel {', '.join(map(str, harmful))} is not a harmless channel of {path}; "
            f"these are: {', '.join(map(str, sorted(known))) or 'none'}",
            EXIT_USAGE,
        )
    return Subjects(tuple(s for s in subjects.switched if not channels or s.channel in channels))


_STYLE = {Outcome.KEPT: "green", Outcome.BROKEN: "bold red", Outcome.NOT_RUN: "yellow"}


def _tell(out: Console, result: Result) -> None:
    out.print(Text.assemble((f"{result.outcome.value:8}", _STYLE[result.outcome]), result.case.key))
    if result.outcome is Outcome.BROKEN:
        for label, text in (
            ("must", f"{result.case.guarantee} (docs/protocol.md, {result.case.rule})"),
            ("did", result.text),
            ("look", result.case.mend),
        ):
            row = Table.grid(padding=(0, 1))
            row.add_column(width=12, justify="right", style="dim")
            row.add_column(overflow="fold")
            row.add_row(label, Text(text))
            out.print(row)
    elif result.text:
        out.print(Text(f"        {result.text}", style="dim"))


def _summary(out: Console, fixture: Fixture, results: tuple[Result, ...]) -> None:
    who = fixture.identity
    counts = Counter(result.outcome for result in results)
    out.print()
    if who is not None:
        out.print(
            f"{who.board}, serial {who.serial_number}, firmware {who.firmware_version}, build "
            f"{who.build_hash:08X}"
        )
    out.print(", ".join(f"{counts[outcome]} {outcome.value}" for outcome in Outcome))
    if counts[Outcome.NOT_RUN]:
        out.print("Not run means not shown: this box has not been checked for it.")
    out.print("What the line cannot show, and how to see it:")
    for what, how in NOT_FROM_OUTSIDE.items():
        out.print(Text(f"  - {what}: {how}"))


def _case_table(cases: tuple[CheckCase, ...]) -> Table:
    table = Table(box=table_shapes.SIMPLE_HEAD, pad_edge=False)
    table.add_column("case", overflow="fold", max_width=24)
    table.add_column("guarantee", overflow="fold")
    table.add_column("needs", overflow="fold", max_width=18)
    for case in cases:
        table.add_row(case.key, Text(case.guarantee), ", ".join(sorted(need.value for need in case.needs)))
    return table


def _record(box: str, fixture: Fixture, results: tuple[Result, ...]) -> dict[str, Any]:
    who = fixture.identity
    return {
        "box": box,
        "board": None if who is None else who.board,
        "serial_number": None if who is None else who.serial_number,
        "firmware_version": None if who is None else who.firmware_version,
        "build_hash": None if who is None else f"{who.build_hash:08X}",
        "simulated": None if who is None else bool(who.simulated),
        "channels_driven": [subject.channel for subject in fixture.subjects.switched],
        "counts": {outcome.value: sum(r.outcome is outcome for r in results) for outcome in Outcome},
        "cases": [
            {
                "case": result.case.key,
                "outcome": result.outcome.value,
                "text": result.text,
                "guarantee": result.case.guarantee,
                "rule": result.case.rule,
                "mend": result.case.mend,
                "refusals": sorted(refusal.name.lower() for refusal in result.case.refusals),
            }
            for result in results
        ],
        "not_from_outside": NOT_FROM_OUTSIDE,
    }


def _fail(text: str, code: int) -> Never:
    print(f"loomproof box-check: {text}", file=sys.stderr)
    raise typer.Exit(code)
