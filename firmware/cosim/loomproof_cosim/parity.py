# SPDX-License-Identifier: GPL-3.0-or-later
"""One job proven on the simulated box and on the real firmware, verdict by verdict.

The run sheet is worked as `loomproof prove` does, by the same simulated operator. What differs is the box: the Python
controller, the firmware in virtual time, or the firmware served on a pseudo-terminal in real time, as a person would use it.
"""

import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote, urlencode

import serial

from loomproof.box.connect import connect
from loomproof.cli.prove.hands import ProveHands
from loomproof.cli.prove.simulated_operator import SimulatedOperator
from loomproof.facts.step import StepEnd
from loomproof.facts.verdict import Property, PropertyVerdict, Verdict, channel_verdict
from loomproof.job.file.loading import load_job
from loomproof.procedure.session import Session
from loomproof_cosim.elf_box import ElfController
from loomproof_cosim.library import CosimError
from loomproof_sim.hands.remote import HandsClient
from loomproof_sim.named_boxes import find, forget

URLS = "loomproof_cosim.urls"
ENDING_S = 20.0
RAN = re.compile(r"firmware ran (?P<box>[\d.]+) s in (?P<machine>[\d.]+) s[^:]*: (?P<mishaps>.*)")
"""The last line of `loomproof-sim serve --elf`."""


@dataclass(frozen=True, slots=True)
class Loom:
    """The loom that is proven.

    Attributes:
        job: its job file.
        faults: as for `loomproof-sim serve --fault`.
        seed: draws parts, read-back errors and noise.
    """

    job: Path
    faults: tuple[str, ...] = ()
    seed: int = 0

    def query(self, **more: str) -> str:
        """The rest of a URL of a box with this loom."""
        pairs = [("fault", fault) for fault in self.faults]
        return f"{quote(str(self.job))}?{urlencode([*pairs, ('seed', str(self.seed)), *more.items()], safe='/:')}"


@dataclass(frozen=True, slots=True)
class Proof:
    """The result of one run.

    Attributes:
        verdicts: verdict of each fitted channel.
        properties: the verdicts on properties behind them.
        findings: the sentences, the most likely first.
        unfinished: steps that did not end as done, with the reason.
        box_s: time that passed in the box.
        machine_s: time that passed outside.
        mishaps: events of the firmware that must not happen; empty for the Python box.
    """

    verdicts: dict[int, Verdict]
    properties: dict[tuple[int, Property], PropertyVerdict]
    findings: tuple[str, ...]
    unfinished: tuple[str, ...]
    box_s: float
    machine_s: float
    mishaps: dict[str, int]


@dataclass(frozen=True, slots=True)
class Difference:
    """A channel on which two boxes do not agree, and which of its properties they judge differently."""

    channel: int
    verdicts: tuple[Verdict, Verdict]
    properties: tuple[tuple[PropertyVerdict | None, PropertyVerdict | None], ...]

    def __str__(self) -> str:
        """In words."""
        lines = [f"channel {self.channel}: {self.verdicts[0]} and {self.verdicts[1]}"]
        for pair in self.properties:
            name = next(str(one.property) for one in pair if one is not None)
            said = [f"{one.verdict} ({one.reason})" if one else "nothing" for one in pair]
            lines.append(f"  {name}: {said[0]}; {said[1]}")
        return "\n".join(lines)


def prove_simulated(loom: Loom) -> Proof:
    """Prove a loom on the Python box, in virtual time."""
    name = "parity of the simulated box"
    return _prove_virtual(loom, name, f"sim://{loom.query(clock='virtual', name=name)}")


def prove_firmware(loom: Loom, elf: Path) -> Proof:
    """Prove a loom on the firmware, in virtual time."""
    name = "parity of the firmware"
    if URLS not in serial.protocol_handler_packages:
        serial.protocol_handler_packages.append(URLS)
    return _prove_virtual(loom, name, f"avr://{loom.query(clock='virtual', name=name, elf=str(elf))}")


def prove_served(loom: Loom, elf: Path) -> Proof:
    """Prove a loom on the firmware, served on a pseudo-terminal in real time.

    Raises:
        CosimError: it cannot be served.
    """
    with _serving(loom, elf) as (process, url, hands_at):
        hands = HandsClient(*hands_at)
        session = _work(loom, url, lambda: hands)
        hands.close()
        process.send_signal(signal.SIGTERM)
        told = RAN.search(process.communicate(timeout=ENDING_S)[1])
    if told is None:
        raise CosimError("the served firmware did not say how it fared")
    mishaps = {name: int(count) for count, name in re.findall(r"(\d+) ([a-z_]+)", told["mishaps"])}
    return _proof(loom, session, float(told["box"]), float(told["machine"]), mishaps)


@contextmanager
def _serving(loom: Loom, elf: Path) -> Iterator[tuple[subprocess.Popen[str], str, tuple[str, int]]]:
    """A served firmware, where its port is, and where its hands are."""
    command = [sys.executable, "-m", "loomproof_sim", "serve", "--pty", "--hands", "127.0.0.1:0"]
    command += ["--job", str(loom.job), "--elf", str(elf), "--seed", str(loom.seed)]
    command += [word for fault in loom.faults for word in ("--fault", fault)]
    pipe = subprocess.PIPE
    process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=pipe, stderr=pipe, text=True)
    try:
        said: dict[str, str] = {}
        for line in process.stdout or ():
            word, _, rest = line.strip().partition(" ")
            said[word] = rest
            if word == "ready":
                break
        if "ready" not in said:
            raise CosimError(process.communicate()[1].strip())
        host, _, port = said["hands"].rpartition(":")
        yield process, said["ready"], (host, int(port))
    finally:
        process.kill()
        process.communicate()


def differences(first: Proof, second: Proof) -> tuple[Difference, ...]:
    """The channels on which two runs do not agree."""
    found = []
    for channel, verdict in first.verdicts.items():
        if second.verdicts[channel] is verdict:
            continue
        keys = sorted({key for key in (*first.properties, *second.properties) if key[0] == channel})
        pairs = [(first.properties.get(key), second.properties.get(key)) for key in keys]
        unlike = tuple(pair for pair in pairs if _word(pair[0]) != _word(pair[1]))
        found.append(Difference(channel, (verdict, second.verdicts[channel]), unlike))
    return tuple(found)


def _word(one: PropertyVerdict | None) -> Verdict | None:
    return None if one is None else one.verdict


def _prove_virtual(loom: Loom, name: str, url: str) -> Proof:
    began_s = time.monotonic()
    try:
        session = _work(loom, url, lambda: find(name).hands)
        box = find(name)
        controller: object = box.controller
        mishaps = controller.mishaps() if isinstance(controller, ElfController) else {}
        return _proof(loom, session, box.now_s(), time.monotonic() - began_s, mishaps)
    finally:
        forget(name)


def _work(loom: Loom, url: str, hands: Callable[[], ProveHands]) -> Session:
    """Work the run sheet; the hands of a box may exist only once its port is open."""
    job = load_job(loom.job)
    box = connect(url, auto_call_in=True)
    try:
        operator = SimulatedOperator(hands(), job)
        session = Session(job, box, operator, None, job_text=loom.job.read_text(encoding="utf-8"), url=url)
        session.open()
        session.run_all()
        session.close()
    finally:
        box.close()
    return session


def _proof(loom: Loom, session: Session, box_s: float, machine_s: float, mishaps: dict[str, int]) -> Proof:
    verdicts = session.verdicts()
    fitted = [entry.channel for entry in load_job(loom.job).channels if entry.fitted]
    return Proof(
        verdicts={channel: channel_verdict(verdicts, channel) for channel in fitted},
        properties={(one.channel, one.property): one for one in verdicts},
        findings=tuple(finding.sentence for finding in session.findings()),
        unfinished=tuple(
            f"{outcome.step_id} {outcome.end}: {'; '.join(outcome.problems) or outcome.note}"
            for outcome in session.outcomes
            if outcome.end is not StepEnd.DONE
        ),
        box_s=box_s,
        machine_s=machine_s,
        mishaps=mishaps,
    )
