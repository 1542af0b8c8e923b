"""An invented boat loom, a box, and plain facts to fill a record with."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from loomproof.facts.estimate import Estimate
from loomproof.facts.fault_kind import FaultKind
from loomproof.facts.finding import Finding
from loomproof.facts.record import BoxFacts, SoftwareFacts, StatementMade, StepBegan
from loomproof.facts.trace_counts import TraceCounts
from loomproof.facts.verdict import Property, PropertyVerdict, Verdict
from loomproof.job.model import Job
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.records.store import RecordStore
from loomproof.records.writer import RecordWriter

JOB_TEXT = "schema_version = 1  # the launch's job file, as it was read\n"
START = datetime(2031, 5, 4, 8, 30, tzinfo=UTC)

Writer = Callable[[], RecordWriter]


def make_job(title: str = "Engine loom of the launch Kestrel", channels: int = 4) -> Job:
    loads = ["injector_high", "injector_low", "relay_diode", "lamp_21w", "coil_bare", "valve_purge"]
    return Job.model_validate(
        {
            "identity": {
                "title": title,
                "job_number": "B-204",
                "customer": "Ferry Row Boat Club",
                "vehicle": "Launch Kestrel",
                "builder": "Quay Street Looms",
                "note": "",
            },
            "setting": "bench",
            "connectors": [{"id": "H1", "name": "controller header", "cavities": 24}],
            "feeds": [{"id": "F1", "name": "injector feed", "terminal": "87"}],
            "locations": [
                {"id": f"L{n}", "name": f"place {n}", "place": "left side"} for n in range(1, channels + 1)
            ],
            "channels": [
                {
                    "channel": n,
                    "name": f"output {n}",
                    "cavity": f"H1-{n + 10}",
                    "wire": "GN/WH",
                    "load": loads[(n - 1) % len(loads)],
                    "location": f"L{n}",
                    "feed": "F1",
                }
                for n in range(1, channels + 1)
            ],
        }
    )


def calibration() -> dict[str, float]:
    return {
        "fine_a_per_count": 2.0 / 1023,
        "fine_offset_counts": 2.0,
        "wide_a_per_count": 20.0 / 1023,
        "wide_offset_counts": 2.0,
        "supply_v_per_count": 0.02,
        "drain_v_per_count": 0.06,
        "adc_bits": 10,
        "gain_u_relative": 0.004,
        "noise_counts": 0.6,
        "bias_v": 2.5,
        "bias_ohm": 47000.0,
        "clamp_v": 48.0,
    }


def make_box(*, simulated: bool = False, channels: int = 16) -> BoxFacts:
    return BoxFacts(
        board="reference-2560",
        serial_number="0007",
        firmware_version="0.1.0",
        protocol="1.0",
        simulated=simulated,
        calibrated_on="2031-02-11",
        adc_bits=10,
        sample_period_ns=26_000,
        calibrations={n: calibration() for n in range(1, channels + 1)},
    )


def make_counts(channel: int = 1, samples: int = 40, seed: int = 0, purpose: str = "drive") -> TraceCounts:
    draw = np.random.default_rng(seed)
    arrays = draw.integers(0, 1024, size=(4, samples), dtype=np.uint16)
    return TraceCounts(
        channel=channel,
        pulse_index=0,
        sample_period_ns=26_000,
        on_time_us=5_000,
        first_sample_ns=13_000,
        supply_skew_ns=6_500,
        drain_skew_ns=13_000,
        truncated=False,
        tripped=False,
        fine=arrays[0],
        wide=arrays[1],
        supply=arrays[2],
        drain=arrays[3],
        purpose=purpose,
    )


def make_outcome(
    step_id: str = "drive-1", attempt: int = 1, verdict: str = "pass", **more: object
) -> StepOutcome:
    return StepOutcome.model_validate(
        {
            "step_id": step_id,
            "attempt": attempt,
            "kind": "drive",
            "began_s": 1.0,
            "ended_s": 2.0,
            "end": "done",
            "verdict": verdict,
            **more,
        }
    )


def make_step(step_id: str = "drive-1", attempt: int = 1, channel: int | None = 1) -> StepBegan:
    return StepBegan(step_id, attempt, "drive", f"Drive {step_id}", channel, 1.0)


def make_statement(sentence: str = "The fuel supply cannot reach the injectors.") -> StatementMade:
    return StatementMade(
        "fuel_isolated", sentence, ("pump unplugged", "rail at 0 bar"), "R. Hale", 3.0, 900.0
    )


def make_verdicts() -> list[PropertyVerdict]:
    measured = Estimate(14.21, 0.06)
    return [
        PropertyVerdict(1, Property.CONTINUITY, Verdict.PASS, reason="current flows"),
        PropertyVerdict(1, Property.RESISTANCE, Verdict.PASS, measured, 12.6, 15.4, "ohm", "job: label"),
        PropertyVerdict(2, Property.CONTINUITY, Verdict.FAIL, reason="no current"),
        PropertyVerdict(3, Property.CONTINUITY, Verdict.NOT_TESTED, reason="skipped: no time"),
    ]


def make_finding() -> Finding:
    return Finding(
        fault=FaultKind.OPEN,
        channels=(2,),
        cavities=("H1-12",),
        location="place 2",
        feed="injector feed",
        likelihood=0.97,
        evidence_for=("no current in any pulse",),
        evidence_against=(),
        remedy="Check the crimp in cavity H1-12.",
        next_measurement="Measure H1-12 to the load with a meter.",
        sentence="The wire from H1-12 to place 2 is open.",
    )


def make_software() -> SoftwareFacts:
    return SoftwareFacts("loomproof", "0.1.0", 7)


def begin(
    writer: RecordWriter, *, box: BoxFacts | None = None, digest: str = "d" * 64, job: Job | None = None
) -> str:
    return writer.begin(
        job=job or make_job(),
        job_text=JOB_TEXT,
        job_digest=digest,
        box=box or make_box(),
        operator="R. Hale",
        software=make_software(),
    )


class Make:
    """Everything above in one fixture."""

    job = staticmethod(make_job)
    box = staticmethod(make_box)
    counts = staticmethod(make_counts)
    outcome = staticmethod(make_outcome)
    step = staticmethod(make_step)
    statement = staticmethod(make_statement)
    verdicts = staticmethod(make_verdicts)
    finding = staticmethod(make_finding)
    software = staticmethod(make_software)
    begin = staticmethod(begin)
    calibration = staticmethod(calibration)
    job_text = JOB_TEXT
    start = START


@pytest.fixture(scope="session")
def make() -> type[Make]:
    return Make


def ticking(start: datetime = START) -> Callable[[], datetime]:
    seconds = itertools.count()
    return lambda: start + timedelta(seconds=next(seconds))


@pytest.fixture
def store_path(tmp_path: Path) -> Path:
    return tmp_path / "records.sqlite3"


@pytest.fixture
def store(store_path: Path) -> Iterator[RecordStore]:
    with RecordStore(store_path, clock=ticking()) as opened:
        yield opened
