"""Runs the cases against one box, one after another, and always leaves it stopped."""

from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, fields

from loomproof.boxcheck.case import CheckCase
from loomproof.boxcheck.catalogue import CASES
from loomproof.boxcheck.fixture import FirstLook, Fixture
from loomproof.boxcheck.line import LineLostError
from loomproof.boxcheck.outcome import Failed, NotShown, Outcome
from loomproof_wire.messages import ChannelConfig, ChannelInfo, GetChannel, GetConfig, GetStatus, Stop


@dataclass(frozen=True)
class Result:
    """A case and its outcome; `text` says what the box did, or why the case was not run."""

    case: CheckCase
    outcome: Outcome
    text: str = ""


def read_box(fixture: Fixture) -> None:
    """Read the state of the box before hello, open a session, and read its channels.

    Raises:
        Failed: it does not answer as a box does.
    """
    line = fixture.line
    line.clear()
    line.write(b"\0")
    sequence = fixture.next_sequence()
    line.send(GetStatus(), sequence)
    before = line.reply_to(sequence, 0.5)
    fixture.identity = fixture.greet()
    status = fixture.status()
    channels = range(1, fixture.identity.channel_count + 1)
    fixture.infos = {n: fixture.get(GetChannel(n), ChannelInfo) for n in channels}
    fixture.subjects = fixture.subjects.sorted_by({n: info.channel_kind for n, info in fixture.infos.items()})
    held = [fixture.get(GetConfig(n), ChannelConfig) for n in channels]
    fixture.first_look = FirstLook(
        before, status, tuple(config.channel for config in held if any(_values(config)[1:]))
    )


def _values(config: ChannelConfig) -> list[int]:
    return [int(getattr(config, field.name)) for field in fields(config)]


def run_suite(
    fixture: Fixture,
    cases: Iterable[CheckCase] = CASES,
    on_result: Callable[[Result], None] = lambda _: None,
) -> tuple[Result, ...]:
    """Run cases and return the result of each; whatever happens, a stop frame is sent last.

    Args:
        fixture: the box, its channels and its attendant.
        cases: the cases to run.
        on_result: called with each result as it comes.

    Raises:
        Failed: it does not answer as a box does.
        LineLostError: the port went away.
    """
    results = []
    try:
        read_box(fixture)
        for case in cases:
            result = _run(fixture, case)
            results.append(result)
            on_result(result)
    finally:
        with suppress(LineLostError):
            fixture.line.beating = False
            fixture.line.write(b"\0")
            fixture.line.send(Stop(), 0)
    return tuple(results)


def _run(fixture: Fixture, case: CheckCase) -> Result:
    missing = case.needs - fixture.subjects.meets() - fixture.attendant.can
    if missing:
        return Result(case, Outcome.NOT_RUN, "needs " + ", ".join(sorted(need.value for need in missing)))
    try:
        fixture.fresh()
        case.run(fixture)
    except Failed as failed:
        return Result(case, Outcome.BROKEN, str(failed))
    except NotShown as not_shown:
        return Result(case, Outcome.NOT_RUN, str(not_shown))
    finally:
        fixture.line.send(Stop(), 0)
    return Result(case, Outcome.KEPT)
