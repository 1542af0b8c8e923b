"""`loomproof-sim trace`: true current, drain and supply voltage of one load under one pulse train, as CSV.

The values are those of the circuit, without the noise and rounding of the box's read-back.
"""

import csv
import sys
from pathlib import Path
from typing import IO, Annotated, Never

import numpy as np
import typer
from numpy.typing import NDArray

from loomproof.job.catalogue import CATALOGUE
from loomproof.job.file.loading import load_job
from loomproof.job.load_traits import LOGIC_KINDS, REFERENCE_V
from loomproof.job.load_type import LoadType, Train
from loomproof.job.problem import JobError
from loomproof_sim.loom import LOGIC_DRIVER_OHM, Draw, load_spec
from loomproof_sim.plant.plant import Plant
from loomproof_sim.plant.spec import BranchSpec, Drive, DriverSpec, FeedSpec, LoomSpec, SupplySpec
from loomproof_sim.scenario import ScenarioError, build_loom, make_scenario

COLUMNS = ("time_s", "current_a", "drain_v", "supply_v")
MOST_ROWS = 2_000_000
BAD_USAGE = 2


def trace(  # noqa: PLR0917 - typer reads the command line off the signature
    load: Annotated[str | None, typer.Option(help="A load type of the catalogue.")] = None,
    job: Annotated[Path | None, typer.Option(help="A job file; needs --channel.")] = None,
    channel: Annotated[int | None, typer.Option(help="Channel of the job.")] = None,
    fault: Annotated[list[str] | None, typer.Option(help="With --job, such as open:5; may repeat.")] = None,
    count: Annotated[
        int | None, typer.Option(min=1, max=2000, help="Pulses; default the load's own.")
    ] = None,
    frequency_hz: Annotated[float | None, typer.Option(min=0.1, max=5000.0, help="Repetition.")] = None,
    on_time_ms: Annotated[float | None, typer.Option(min=0.001, max=10_000.0, help="Of each pulse.")] = None,
    supply_v: Annotated[float, typer.Option(min=0.1, max=48.0, help="Supply voltage.")] = REFERENCE_V,
    source_ohm: Annotated[float, typer.Option(min=0.0, help="Its internal resistance, with --load.")] = 0.03,
    wire_ohm: Annotated[float, typer.Option(min=0.0, help="Of the wire at 20 degC, with --load.")] = 0.1,
    temperature_c: Annotated[float, typer.Option(min=-60.0, max=200.0, help="Of the loom.")] = 20.0,
    sample_us: Annotated[float, typer.Option(min=0.01, max=1e6, help="Time between samples.")] = 26.0,
    tail_ms: Annotated[float, typer.Option(min=0.0, max=10_000.0, help="After the last pulse.")] = 5.0,
    out: Annotated[Path | None, typer.Option(help="CSV file; default standard output.")] = None,
) -> None:
    """Write one simulated load's current under one pulse train as CSV."""
    if (load is None) == (job is None):
        _refuse("give either --load TYPE or --job FILE --channel N")
    if load is not None:
        if fault:
            _refuse("--fault changes the loom of a job: give --job FILE --channel N with it")
        kind = _load_type(load)
        loom, channel = _single(kind, SupplySpec(supply_v, source_ohm), wire_ohm, temperature_c), 1
    else:
        assert job is not None
        loom, kind, channel = _from_job(job, channel, fault or [], supply_v, temperature_c)
    train = _train(kind, count, frequency_hz, on_time_ms)
    rows = _sampled(loom, channel, train, sample_us * 1e-6, tail_ms * 1e-3)
    if out is None:
        _write(sys.stdout, rows)
        return
    try:
        with out.open("w", newline="", encoding="utf-8") as stream:
            _write(stream, rows)
    except OSError as error:
        _refuse(f"cannot write {out}: {error.strerror}")


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("trace")(trace)


def _refuse(why: str) -> Never:
    typer.echo(f"loomproof-sim trace: {why}", err=True)
    raise typer.Exit(BAD_USAGE)


def _load_type(key: str) -> LoadType:
    if key not in CATALOGUE:
        _refuse(f"the catalogue has no load {key!r}; it has {', '.join(sorted(CATALOGUE))}")
    return CATALOGUE[key]


def _single(kind: LoadType, supply: SupplySpec, wire_ohm: float, temperature_c: float) -> LoomSpec:
    """Return a loom of one load with nominal values on channel 1."""
    logic = kind.kind in LOGIC_KINDS
    driver = DriverSpec(kind="logic", on_ohm=LOGIC_DRIVER_OHM) if logic else DriverSpec()
    branch = BranchSpec(1, load_spec(kind, Draw(0, 0.0)), "feed", wire_ohm)
    return LoomSpec(supply, (FeedSpec("feed"),), (branch,), {1: driver}, temperature_c=temperature_c)


def _from_job(
    path: Path, channel: int | None, faults: list[str], supply_v: float, temperature_c: float
) -> tuple[LoomSpec, LoadType, int]:
    try:
        job = load_job(path)
        scenario = make_scenario(
            {
                "job": str(path),
                "faults": faults,
                "supply_v": supply_v,
                "temperature_c": temperature_c,
                "spread": 0,
            }
        )
        loom = build_loom(job, scenario)
    except (JobError, ScenarioError, ValueError) as error:
        _refuse(str(error))
    except OSError as error:
        _refuse(f"cannot read {path}: {error.strerror}")
    known = [one.channel for one in job.channels]
    if channel not in known:
        _refuse(f"--channel must be one of {', '.join(map(str, known))}, not {channel}")
    return loom, job.load_type(channel), channel


def _train(kind: LoadType, count: int | None, frequency_hz: float | None, on_time_ms: float | None) -> Train:
    own = kind.train
    return Train.model_construct(
        count=own.count if count is None else count,
        frequency_hz=own.frequency_hz if frequency_hz is None else frequency_hz,
        on_time_ms=own.on_time_ms if on_time_ms is None else on_time_ms,
    )


def _sampled(loom: LoomSpec, channel: int, train: Train, step_s: float, tail_s: float) -> NDArray[np.float64]:
    if train.count > 1 and train.duty >= 1.0:
        _refuse(f"{train.on_time_ms} ms pulses at {train.frequency_hz} Hz overlap: shorten them or slow down")
    plant = Plant(loom)
    for k in range(train.count):
        start = k / train.frequency_hz
        plant.switch(channel, Drive.ON, start)
        plant.switch(channel, Drive.OFF, start + train.on_time_ms * 1e-3)
    end = (train.count - 1) / train.frequency_hz + train.on_time_ms * 1e-3 + tail_s
    count = int(end / step_s) + 1
    if count > MOST_ROWS:
        _refuse(
            f"that makes {count} rows, more than {MOST_ROWS}: ask for fewer pulses or a longer --sample-us"
        )
    times: NDArray[np.float64] = step_s * np.arange(count, dtype=np.float64)
    return np.column_stack([times, *plant.sample_many(channel, times)])


def _write(stream: IO[str], rows: NDArray[np.float64]) -> None:
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows([f"{t:.7f}", f"{i:.6f}", f"{d:.4f}", f"{s:.4f}"] for t, i, d, s in rows.tolist())
