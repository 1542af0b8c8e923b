"""Which traces are kept and drawn over one another, and how cursors' readings are worded."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from loomproof.facts.drive import PulseTrain
from loomproof.facts.estimate import Estimate
from loomproof.facts.trace import Trace
from loomproof.job.file.loading import load_job
from loomproof.procedure.events import DriveStarted, TraceTaken
from loomproof.tui.desk.traces import MOST_KEPT, Traces, engineering, time_text

JOB = load_job(Path(__file__).parents[2] / "examples" / "inline-five-turbo.toml")


def taken(channel: int, amps: float, band_until_s: float | None = None) -> TraceTaken:
    times = np.arange(200) * 26e-6
    on = times < 4e-3
    return TraceTaken(
        Trace(
            channel=channel,
            time_s=times,
            current_a=np.where(on, amps, 0.0),
            current_u_a=np.full(200, 1e-3),
            supply_v=np.full(200, 13.5),
            drain_v=np.where(on, 0.0, 13.5),
            on_time_s=4e-3,
            sample_period_s=26e-6,
        ),
        band_until_s,
    )


def driven(traces: Traces, channel: int, *amps: float) -> None:
    traces.take(DriveStarted(channel, PulseTrain(count=len(amps), period_us=100_000, on_time_us=4000)))
    for value in amps:
        traces.take(taken(channel, value))


def tops(view) -> list[tuple[int, float]]:
    return [(curve.kind, max(curve.values)) for curve in view.curves]


def test_of_one_drive_only_the_newest_trace_stays_and_earlier_drives_lie_below_it():
    traces = Traces(JOB)
    driven(traces, 11, 0.1, 0.2, 0.3)
    assert tops(traces.view(11)) == [(0, 0.3)]
    driven(traces, 11, 0.4, 0.5)
    driven(traces, 11, 0.6)
    assert tops(traces.view(11)) == [(0, 0.6), (1, 0.5)]
    assert tops(traces.view(11, earlier=5)) == [(0, 0.6), (1, 0.5), (1, 0.3)]
    assert tops(traces.view(11, earlier=0)) == [(0, 0.6)]


def test_no_more_drives_are_kept_than_it_says():
    traces = Traces(JOB)
    for number in range(20):
        driven(traces, 11, 0.1 + number)
    assert len(traces.view(11, earlier=99).curves) == MOST_KEPT


def test_like_loads_are_laid_over_and_can_be_left_out():
    traces = Traces(JOB)
    for channel in (6, 7, 8, 11):
        driven(traces, channel, channel / 10)
    assert tops(traces.view(6, earlier=0, sisters=4)) == [(0, 0.6), (2, 0.7), (2, 0.8)]
    assert tops(traces.view(6, earlier=0, sisters=1)) == [(0, 0.6), (2, 0.7)]
    assert tops(traces.view(6, earlier=0, sisters=0)) == [(0, 0.6)]


def test_a_channel_never_driven_has_neither_trace_nor_readings():
    traces = Traces(JOB)
    assert traces.view(3).curves == ()
    assert traces.readings(3, 0.0, 1.0) is None


def test_the_band_ends_where_the_pulse_is_chopped():
    traces = Traces(JOB)
    traces.take(DriveStarted(11, PulseTrain(count=1, period_us=100_000, on_time_us=4000)))
    whole = traces.take(taken(11, 0.3)).band
    traces.take(DriveStarted(11, PulseTrain(count=1, period_us=100_000, on_time_us=4000)))
    cut = traces.take(taken(11, 0.3, 1e-3)).band
    assert cut.times_s[-1] <= 1e-3 < whole.times_s[-1]


def test_a_trip_is_drawn_close_up_and_told():
    traces = Traces(JOB)
    traces.take(DriveStarted(11, PulseTrain(count=1, period_us=100_000, on_time_us=4000)))
    event = taken(11, 20.0)
    view = traces.take(replace(event, trace=replace(event.trace, tripped=True, on_time_s=52e-6)))
    assert view.reading == "! TRIPPED, at least 20 A"
    assert view.curves[0].times_s[-1] <= 1e-3


def test_readings_are_those_of_the_newest_trace():
    traces = Traces(JOB)
    driven(traces, 11, 0.25)
    rows = dict(traces.readings(11, 1e-3, 3e-3).rows)
    assert rows["A"] == "1.000 ms  250.0 ± 3.2 mA"  # u = 1 mA of noise and 0.5 % of scale, k = 2
    assert rows["B-A"].startswith("2.000 ms  0")
    assert rows["charge"].startswith("500.0 ± ")  # 0.25 A for 2 ms, in uC
    assert rows["charge"].endswith("µC")
    assert rows["energy"].endswith("mJ taken")  # 13.5 V x 500 uC = 6.75 mJ
    assert rows["energy"].startswith("6.7")


@pytest.mark.parametrize(
    ("estimate", "text"),
    [
        (Estimate(0.8532, 0.003), "853.2 ± 6.0 mA"),
        (Estimate(1.5, 0.02), "1.500 ± 0.040 A"),
        (Estimate(0.0, 0.0005), "0.0 ± 1.0 mA"),
        (Estimate(-2.5e-6, 1e-8), "-2.500 ± 0.020 µA"),
    ],
)
def test_a_reading_has_a_prefix_and_an_expanded_uncertainty(estimate, text):
    # JCGM 100:2008 (GUM), 7.2.6: two significant figures for an uncertainty; k = 2 as in 6.3.
    assert engineering(estimate, "A") == text


@pytest.mark.parametrize(("seconds", "text"), [(1.5e-3, "1.500 ms"), (26e-6, "26 µs"), (-2e-3, "-2.000 ms")])
def test_times_are_in_milliseconds_or_microseconds(seconds, text):
    assert time_text(seconds) == text
