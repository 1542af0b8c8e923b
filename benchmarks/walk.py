"""The location walk: how soon a pulled connector is named, and whether a wrong one ever is.

usage: python -m benchmarks.walk [--pulls 10000] [--box 300] [--seed 1]

First part: the walk's own eyes, detector and state machine on the plant and the read-back of the simulated box,
noise included; the wire is left out for speed. Second part: the whole box
in virtual time, wire and heartbeats and all. Each pull happens at a random moment between two scans. A pull
counts as confirmed when the walk names the place, and as wrong when it ever names other channels.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.table import Table

from loomproof.box.connect import connect
from loomproof.cli.prove.simulated_operator import SimulatedOperator
from loomproof.job.file.loading import load_job
from loomproof.procedure.configure import configure_all
from loomproof.procedure.context import Core
from loomproof.procedure.null_recorder import NullRecorder
from loomproof.procedure.session import Session
from loomproof.procedure.sheet import build_sheet
from loomproof.procedure.walk.machine import WalkMachine
from loomproof.procedure.walk.model import Happening, Kind, Order, Place, Stage, WalkKey, WalkState
from loomproof.procedure.walk.places import places_of
from loomproof.procedure.walk.scan import PERIOD_S, Eyes
from loomproof.safety.interlocks import DEFAULT_EXPIRY_S
from loomproof_sim.box import SimBox
from loomproof_sim.hands.local import SimHands, connector_map
from loomproof_sim.named_boxes import find, forget
from loomproof_sim.plant.plant import Plant
from loomproof_sim.scenario import Scenario, build_loom
from testbed.bareboard import BareBoard
from testbed.barebox import BareBox

JOB = Path(__file__).parents[1] / "examples" / "inline-five-turbo.toml"
NAMED = (Kind.MATCHED, Kind.MISMATCH, Kind.AGAIN, Kind.CONFIRMED)
WRONG = (Kind.MISMATCH, Kind.CONFIRMED, Kind.STRAY, Kind.FEED, Kind.TWITCH)
UNNAMED_S = 2.0


@dataclass
class Tally:
    """What came of many pulls."""

    seen_s: list[float] = field(default_factory=list)
    named_s: list[float] = field(default_factory=list)
    wrong: int = 0
    missed: int = 0

    def row(self, name: str) -> tuple[str, ...]:
        """For the table."""
        seen, named = (np.percentile(np.array(v) * 1e3, (50, 99, 100)) for v in (self.seen_s, self.named_s))
        cells = (f"{a:.0f} / {b:.0f} / {c:.0f}" for a, b, c in (seen, named))
        return (name, str(len(self.named_s)), *cells, str(self.wrong), str(self.missed))


def without_the_wire(pulls: int, seed: int) -> Tally:
    """Many pulls, the places of the job over and over."""
    job = load_job(JOB)
    scenario = Scenario(job=JOB, seed=seed)
    board = BareBoard(Plant(build_loom(job, scenario), seed=seed), scenario.board, seed)
    box = BareBox(job, board)
    hands = SimHands(box, board.plant, job, connector_map(job, ()))
    core = Core(job, box, SimulatedOperator(hands, job), NullRecorder(), DEFAULT_EXPIRY_S)
    configure_all(core)
    eyes, tally, draw = Eyes(core), Tally(), np.random.default_rng(seed)
    eyes.learn()
    places = places_of(job, build_sheet(job), eyes.detector.blind)
    while len(tally.named_s) + tally.missed < pulls:
        machine = WalkMachine(places, order=Order.FREE, now_s=board.now_s)
        for place in draw.permutation(np.array(places, dtype=object)):
            if len(tally.named_s) + tally.missed >= pulls:
                break
            _one_pull(machine, eyes, board, place, draw, tally)
    return tally


def _one_pull(
    machine: WalkMachine,
    eyes: Eyes,
    board: BareBoard,
    place: Place,
    draw: np.random.Generator,
    tally: Tally,
) -> None:
    """Pull and seat one connector at random moments between scans.

    Args:
        machine: the walk's, which says what happened.
        eyes: the walk's, which scan.
        board: whose loom it is, and whose time.
        place: of the connector.
        draw: draws the moments.
        tally: takes in what came of it.
    """
    pulled_s = board.now_s + draw.uniform(0.0, PERIOD_S)
    seated_s = pulled_s + draw.uniform(0.6, 1.0)
    end_s = seated_s + draw.uniform(0.6, 1.0)
    acts = [(pulled_s, board.plant.pull), (seated_s, board.plant.seat)]
    seen = named = None
    while board.now_s < end_s:
        board.now_s += PERIOD_S
        while acts and acts[0][0] <= board.now_s:
            at_s, act = acts.pop(0)
            for channel in place.expected:
                act(channel, at_s)
        look = eyes.look()
        for item in machine.look(look):
            tally.wrong += item.kind in WRONG or (item.kind is Kind.MATCHED and item.place != place.id)
            if item.kind is Kind.LOST and seen is None:
                seen = look.at_s - pulled_s
            if item.kind in NAMED and named is None:
                named = look.at_s - pulled_s
    if seen is None or named is None:
        tally.missed += 1
    else:
        tally.seen_s.append(seen)
        tally.named_s.append(named)


class TimedWalker:
    """Pulls what is asked for after a random wait, through the whole box, and notes when it is named."""

    def __init__(self, box: SimBox, tally: Tally, seed: int) -> None:
        self.box, self.tally = box, tally
        self.draw = np.random.default_rng(seed)
        self.state: WalkState | None = None
        self.due_s = 0.0
        self.held: Place | None = None
        self.pulled_s = 0.0
        self.heard = False

    def told(self, state: WalkState, happened: tuple[Happening, ...]) -> None:
        """Note when a pull was seen and named."""
        self.state = state
        now_s = self.box.now_s()
        for item in happened:
            self.tally.wrong += item.kind in WRONG or (
                item.kind is Kind.MATCHED and item.place != (self.held and self.held.id)
            )
            if item.kind is Kind.LOST:
                self.tally.seen_s.append(now_s - self.pulled_s)
            if item.kind in NAMED:
                self.tally.named_s.append(now_s - self.pulled_s)
        if happened:
            self.due_s = now_s + self.draw.uniform(0.3, 0.8)

    def poll(self) -> tuple[WalkKey, str | None] | None:
        """Act at a moment that no scan knows of."""
        state, now_s = self.state, self.box.now_s()
        if state is None or now_s < self.due_s:
            return None
        if state.stage is Stage.SEAT and self.held is not None:
            self._act(self.held, seated=True)
            self.held = None
        elif state.stage is Stage.PULL and state.asked is not None and self.held is None:
            self.held = next(p for p in state.places if p.id == state.asked)
            self.pulled_s = self._act(self.held, seated=False)
            self.due_s = now_s + UNNAMED_S
        elif self.held is not None and state.stage is Stage.PULL:
            self.tally.missed += 1
            self.due_s = now_s + UNNAMED_S
        return None

    def _act(self, place: Place, *, seated: bool) -> float:
        """Pull or seat a while ago: at a random moment since the scan before."""
        at_s = self.box.now_s() + self.draw.uniform(0.0, PERIOD_S)
        with self.box:
            for channel in place.expected:
                (self.box.plant.seat if seated else self.box.plant.pull)(channel, at_s)
        return at_s


def through_the_box(pulls: int, seed: int) -> Tally:
    """Whole walks over a whole simulated box in virtual time."""

    tally, job = Tally(), load_job(JOB)
    while len(tally.named_s) < pulls:
        name = f"walk-{seed}-{len(tally.named_s)}"
        box = connect(
            f"sim://{JOB}?clock=virtual&seed={seed + len(tally.named_s)}&name={name}", auto_call_in=True
        )
        try:
            sim = find(name)
            session = Session(job, box, SimulatedOperator(sim.hands, job))
            session.open()
            session.walk(TimedWalker(sim, tally, seed + len(tally.named_s)))
        finally:
            box.close()
            forget(name)
    return tally


def main() -> int:
    """Measure and print; 1 when a wrong channel was ever named or the figure is missed."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--pulls", type=int, default=10_000)
    parser.add_argument("--box", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    table = Table(
        "location walk",
        "pulls",
        "seen after ms, p50/p99/max",
        "named after ms, p50/p99/max",
        "wrong",
        "missed",
    )
    tallies = {
        "plant and read-back": without_the_wire(options.pulls, options.seed),
        "whole box, virtual time": through_the_box(options.box, options.seed),
    }
    for name, tally in tallies.items():
        table.add_row(*tally.row(name))
    Console().print(table)
    bad = any(t.wrong or t.missed or np.percentile(t.named_s, 99) >= 0.3 for t in tallies.values())
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
