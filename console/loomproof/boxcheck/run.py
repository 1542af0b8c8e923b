"""Runs the cases against one box, one after another, and always leaves it stopped or at rest."""

from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, fields
from enum import StrEnum

from loomproof.boxcheck.case import Case
from loomproof.boxcheck.catalogue import CASES
from loomproof.boxcheck.errors import Failed, NotShown
from loomproof.boxcheck.fixture import Bench, FirstSight
from loomproof.boxcheck.line import LineLostError
from loomproof_wire.messages import ChannelConfig, ChannelInfo, GetChannel, GetConfig, GetStatus, Stop


class Outcome(StrEnum):
    """What came of a case."""

    KEPT = "kept"
    BROKEN = "broken"
    NOT_RUN = "not run"


@dataclass(frozen=True)
class Result:
    """A case and what came of it; `text` says what the box did, or why the case was not run."""

    case: Case
    outcome: Outcome
    text: str = ""


def get_acquainted(bench: Bench) -> None:
    """Look at the box before anything is said to it, open a session, read its channels.

    Raises:
        Failed: it does not answer as a box.
    """
    line = bench.line
    line.forget()
    line.write(b"\0")
    sequence = bench.next_sequence()
    line.send(GetStatus(), sequence)
    before = line.reply_to(sequence, 0.5)
    bench.identity = bench.greet()
    status = bench.status()
    channels = range(1, bench.identity.channel_count + 1)
    bench.infos = {n: bench.get(GetChannel(n), ChannelInfo) for n in channels}
    bench.subjects = bench.subjects.sorted_by({n: info.channel_kind for n, info in bench.infos.items()})
    held = [bench.get(GetConfig(n), ChannelConfig) for n in channels]
    bench.greeting = FirstSight(
        before, status, tuple(config.channel for config in held if any(_values(config)[1:]))
    )


def _values(config: ChannelConfig) -> list[int]:
    return [int(getattr(config, field.name)) for field in fields(config)]


def run_suite(
    bench: Bench,
    cases: Iterable[Case] = CASES,
    told: Callable[[Result], None] = lambda _: None,
) -> tuple[Result, ...]:
    """Run cases and return what came of each; whatever happens, a stop frame is the last word.

    Args:
        bench: the box, its channels and hands.
        cases: which.
        told: called with each result as it comes.

    Raises:
        Failed: the box does not even answer as one.
        LineLostError: the port went away.
    """
    results = []
    try:
        get_acquainted(bench)
        for case in cases:
            result = _run(bench, case)
            results.append(result)
            told(result)
    finally:
        with suppress(LineLostError):
            bench.line.beating = False
            bench.line.write(b"\0")
            bench.line.send(Stop(), 0)
    return tuple(results)


def _run(bench: Bench, case: Case) -> Result:
    missing = case.needs - bench.subjects.meets() - bench.hands.can
    if missing:
        return Result(case, Outcome.NOT_RUN, "needs " + ", ".join(sorted(need.value for need in missing)))
    try:
        bench.fresh()
        case.run(bench)
    except Failed as failed:
        return Result(case, Outcome.BROKEN, str(failed))
    except NotShown as not_shown:
        return Result(case, Outcome.NOT_RUN, str(not_shown))
    finally:
        bench.line.send(Stop(), 0)
    return Result(case, Outcome.KEPT)
