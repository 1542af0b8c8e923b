"""Where the search walks: random steps, the same for the same numbers. See `player`."""

import random
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from loomproof.job.load_traits import LOAD_TRAITS
from loomproof_wire import messages as wire
from loomproof_wire.messages import Hazard, LoadClass
from testbed.class_limits import within_class
from testbed.interleave.watcher import MS, hazards_of

Step = tuple[str, Any]
EPISODE = 60
"""Steps from power-up to power-down."""
SESSIONS = (1, 1, 1, 1, 2)
CHANNELS = (1, 2, 3, 4, 12, 13, 15, 16)
SWITCHED = (1, 2, 2, 3, 4, 12)
PUMPS = [LoadClass[kind.name] for kind, traits in LOAD_TRAITS.items() if traits.runs_pump]
CLASSES = [load for load in LoadClass if load is not LoadClass.NONE]


def episode_of(seed: int, episode: int) -> list[Step]:
    """Return the steps of one episode; the same for the same numbers."""
    draw = random.Random(f"{seed}/{episode}")
    steps: list[Step] = []
    while len(steps) < EPISODE:
        steps += _moves(draw)
    return steps


def _moves(draw: random.Random) -> list[Step]:
    kind = draw.random()
    if kind < 0.24:
        return _sound_drive(draw)
    if kind < 0.34:
        return _crowd(draw)
    if kind < 0.50:
        return _held_main_loop(draw)
    if kind < 0.60:
        return _unprepared(draw)
    if kind < 0.88:
        return [_one(draw)]
    return [_hand(draw)]


def _message(draw: random.Random) -> wire.Message:
    channel = draw.choice(CHANNELS)
    makes: list[Callable[[], wire.Message]] = [
        wire.Stop,
        wire.Stop,
        wire.ClearStop,
        wire.ClearStop,
        wire.Cancel,
        wire.GetStatus,
        lambda: wire.Hello(wire.PROTOCOL_MAJOR, 0, draw.choice(SESSIONS), 0),
        lambda: wire.Heartbeat(draw.choice(SESSIONS)),
        lambda: wire.Arm(draw.choice(list(Hazard)[1:]), draw.choice([100, 300, 5000])),
        lambda: wire.Disarm(draw.choice(list(Hazard))),
        lambda: _configure(draw, channel),
        lambda: _drive(draw, channel),
        lambda: _drive(draw, channel),
    ]
    return draw.choice(makes)()


def _configure(draw: random.Random, channel: int) -> wire.Configure:
    wide = wire.Configure(
        channel,
        draw.choice(CLASSES),
        draw.choice([Hazard.NONE, Hazard.NONE, *Hazard]),
        0,
        draw.choice([3000, 20_000, 100_000]),
        draw.choice([0, 50, 2000]),
        draw.choice([100, 500, 900]),
        draw.choice([3, 100]),
        200 if channel in (13, 14) else draw.choice([1500, 5000]),
        0 if channel in (15, 16) else draw.choice([0, 60, 100]),
    )
    fits = within_class(wide) if draw.random() < 0.7 else wide
    pump = (
        draw.random() < 0.15 and fits.load_class is not LoadClass.INJECTOR and fits.hazard is not Hazard.FUEL
    )
    return replace(fits, fuel_pump=int(pump))


def _drive(draw: random.Random, channel: int) -> wire.Message:
    count, on_us = draw.choice([1, 3, 20]), draw.choice([50, 1000, 3000, 10_000, 100_000])
    makes: list[Callable[[], wire.Message]] = [
        lambda: wire.DriveTrain(channel, count, max(200, draw.choice([2, 10, 20]) * on_us), on_us, 0, 1, 0),
        lambda: wire.DriveTrain(channel, count, max(200, draw.choice([2, 10, 20]) * on_us), on_us, 1, 1, 20),
        lambda: wire.DriveHold(channel, draw.choice([1, 50, 2000]), 1, draw.choice([0, 20])),
        lambda: wire.DriveHold(channel, 2000, 1, 0),
        lambda: wire.DrivePeakHold(channel, 2, 100_000, 3000, 500, 200, 400, 0, 1, 0),
        lambda: wire.DriveStepper((1, 2, 3, 4), draw.choice([5, -9]), draw.choice([1000, 20_000])),
        lambda: wire.DriveBridge(15, 16, draw.choice([20, 500]), 200, 400, 1, 0),
        lambda: wire.Sense(channel, draw.choice([10, 60]), 5),
        lambda: wire.Scan(0xFFFF, draw.choice([0, 60])),
        lambda: wire.Watch(channel, 1, draw.choice([50, 1000]), 2000, 200),
    ]
    return draw.choice(makes)()


def _channels_of(drive: Any) -> tuple[int, ...]:  # noqa: ANN401 - any drive
    if isinstance(drive, wire.DriveStepper):
        return drive.channels
    if isinstance(drive, wire.DriveBridge):
        return (15, 16)
    return () if isinstance(drive, wire.Scan) else (drive.channel,)


def _get_ready(draw: random.Random) -> list[Step]:
    hello = wire.Hello(wire.PROTOCOL_MAJOR, 0, 1, 0)
    return [
        ("hold", False),
        ("press", False),
        ("supply", 13.5),
        ("send", (hello, wire.Heartbeat(1), wire.Cancel(), wire.ClearStop())),
        ("wait", draw.choice([1, 25, 130]) * MS),
        ("send", (wire.Hello(wire.PROTOCOL_MAJOR, 0, 1, 0), wire.Heartbeat(1), wire.ClearStop())),
    ]


def _sound_drive(draw: random.Random) -> list[Step]:
    """What a console and its operator do before a drive, so that drives are reached at all."""
    config = _wide(draw)
    drive = _fitting(draw, config)
    configures = tuple(
        within_class(
            replace(
                config,
                channel=channel,
                max_sense_us=0 if channel in (15, 16) else config.max_sense_us,
            )
        )
        for channel in _channels_of(drive)
    )
    needed = sorted(hazards_of(config))
    arms = tuple(wire.Arm(hazard, draw.choice([200, 5000])) for hazard in needed)
    steps = _get_ready(draw) if draw.random() < 0.8 else []
    return [
        *steps,
        *(("send", (one,)) for one in (*configures, *arms, wire.Heartbeat(1), drive)),
        _pause(draw),
    ]


def _wide(draw: random.Random) -> wire.Configure:
    """A configuration with which nearly every drive is possible."""
    pump = draw.random() < 0.15
    load = draw.choice(PUMPS if pump else CLASSES)
    hazard = draw.choice([Hazard.NONE, Hazard.NONE, Hazard.HEAT, Hazard.FUEL, Hazard.CRANK])
    if pump and hazard is Hazard.FUEL:
        hazard = Hazard.NONE
    most = wire.Configure(1, load, hazard, int(pump), 100_000, 10_000, 900, 100, 5000, 100)
    return within_class(most)


def _fitting(draw: random.Random, config: wire.Configure) -> wire.Message:
    """A drive that its configuration allows."""
    channel = draw.choice(SWITCHED)
    on_us = min(config.max_on_time_us, draw.choice([50, 1000, 10_000, 100_000]))
    period_us = max(200, -(-on_us * 1000 // config.max_duty_permille), draw.choice([0, 20_000]))
    train = wire.DriveTrain(channel, draw.choice([1, 3, 20]), period_us, on_us, draw.choice([0, 1]), 1, 20)
    sense = wire.Sense(channel, draw.choice([10, 30, 60, 100]), 5)
    if config.max_hold_ms == 0 or draw.random() < 0.3:
        peak = wire.DrivePeakHold(channel, 2, train.period_us, on_us, min(500, on_us), 200, 400, 0, 1, 0)
        never_held: list[wire.Message] = [train, train, train, peak, sense, wire.Scan(0xFFFF, 100)]
        return draw.choice(never_held)
    hold_ms = min(config.max_hold_ms, draw.choice([20, 300, 2000, 10_000]))
    drives: list[wire.Message] = [
        train,
        wire.DriveHold(channel, hold_ms, 1, draw.choice([0, 20])),
        wire.DriveHold(channel, hold_ms, 1, draw.choice([0, 20])),
        wire.Watch(channel, 1, hold_ms, 2000, 200),
        wire.DriveStepper((1, 2, 3, 4), draw.choice([5, -9]), max(1000, on_us)),
        wire.DriveBridge(15, 16, hold_ms, 200, 400, 1, 0),
        sense,
    ]
    return draw.choice(drives)


def _pause(draw: random.Random) -> Step:
    return ("wait", draw.choice([50_000, 500_000, MS, 3 * MS, 30 * MS, 130 * MS]))


def _crowd(draw: random.Random) -> list[Step]:
    """Several frames at once."""
    return [("send", tuple(_any(draw) for _ in range(draw.choice([2, 3, 6]))))]


def _any(draw: random.Random) -> wire.Message:
    """Mostly what stops, clears, arms and drives: it is their order that matters."""
    if draw.random() < 0.4:
        return _message(draw)
    what: list[wire.Message] = [
        wire.Stop(),
        wire.ClearStop(),
        wire.Arm(draw.choice([Hazard.FUEL, Hazard.SPARK, Hazard.MOTION]), 5000),
        _small(draw),
    ]
    return draw.choice(what)


def _small(draw: random.Random) -> wire.Message:
    """A drive that nearly every configuration allows."""
    channel = draw.choice(SWITCHED)
    return draw.choice(
        [wire.DriveTrain(channel, 3, 20_000, 50, 0, 1, 0), wire.DriveTrain(channel, 1, 20_000, 2000, 0, 1, 0)]
    )


def _unprepared(draw: random.Random) -> list[Step]:
    """Drive at once, as if everything were ready."""
    return [("send", (wire.Heartbeat(1), wire.GetStatus(), _small(draw))), _pause(draw)]


def _held_main_loop(draw: random.Random) -> list[Step]:
    """Frames and interrupts come while the main loop is busy; it gets its turns one by one."""
    steps: list[Step] = [("hold", True)]
    for _ in range(draw.choice([1, 2, 4])):
        steps.append(("send", (_any(draw),)) if draw.random() < 0.7 else _one(draw))
        steps.append(("poll", draw.choice([0, 0, 1, 2])))
        if draw.random() < 0.3:
            steps.append(_hand(draw))
    return [*steps, ("hold", False), _pause(draw)]


def _one(draw: random.Random) -> Step:
    kind = draw.random()
    if kind < 0.15:
        return ("again", draw.choice([0, 0, 1, 2, 5]))
    if kind < 0.25:
        return ("beats", draw.choice([1, 5]))
    if kind < 0.45:
        return _pause(draw)
    return ("send", (_message(draw),))


def _hand(draw: random.Random) -> Step:
    return draw.choice(
        [
            ("press", True),
            ("press", False),
            ("supply", 3.0),
            ("supply", 13.5),
            ("load", (draw.choice(CHANNELS), 0.05, 1e-9)),
            ("load", (draw.choice(CHANNELS), 14.0, 14e-3)),
            ("wait", 450 * MS),
            *draw.choices([("ticks_die", None), ("converter_sticks", None), ("hold", True), ("hold", False)]),
        ]
    )
