"""From what the box sends to what `measure` and `diagnose` take: scales applied, names translated."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict

import numpy as np

from loomproof.box.drive_outcome import RawTrace
from loomproof.facts.presence import ScanReading
from loomproof.facts.record import BoxFacts
from loomproof.facts.trace import Calibration, Trace
from loomproof.facts.trace_counts import TraceCounts
from loomproof.measure.trace.from_counts import trace_from_counts
from loomproof.safety.budget import BoxCeilings
from loomproof_wire import messages


def calibration_of(info: messages.ChannelInfo, adc_bits: int) -> Calibration:
    """The scales of one channel."""
    return Calibration(
        fine_a_per_count=info.fine_na_per_count * 1e-9,
        fine_offset_counts=info.fine_offset_counts_x100 / 100,
        wide_a_per_count=info.wide_na_per_count * 1e-9,
        wide_offset_counts=info.wide_offset_counts_x100 / 100,
        supply_v_per_count=info.supply_uv_per_count * 1e-6,
        drain_v_per_count=info.drain_uv_per_count * 1e-6,
        adc_bits=adc_bits,
        gain_u_relative=info.gain_uncertainty_ppm * 1e-6,
        noise_counts=info.noise_counts_x100 / 100,
        bias_v=info.bias_mv / 1000,
        bias_ohm=float(info.bias_ohm),
        clamp_v=info.clamp_mv / 1000,
    )


def ceilings_of(info: messages.ChannelInfo) -> BoxCeilings:
    """What the box itself allows on one channel."""
    return BoxCeilings(
        max_on_time_us=info.max_on_time_us,
        max_hold_ms=info.max_hold_ms,
        max_duty_permille=info.max_duty_permille,
        max_count=info.max_count,
        max_current_ma=info.max_current_ma,
        max_sense_us=info.max_sense_us,
    )


def trace_of(raw: RawTrace, calibration: Calibration) -> Trace:
    """A trace in amperes and volts."""
    header = raw.header
    return trace_from_counts(
        raw.fine,
        raw.wide,
        raw.supply,
        raw.drain,
        calibration,
        channel=header.channel,
        sample_period_s=header.sample_period_ns * 1e-9,
        first_sample_s=header.first_sample_ns * 1e-9,
        supply_skew_s=header.supply_skew_ns * 1e-9,
        drain_skew_s=header.drain_skew_ns * 1e-9,
        on_time_s=header.on_time_us * 1e-6,
        pulse_index=header.pulse_index,
        truncated=bool(header.truncated),
        tripped=bool(header.tripped),
    )


def counts_of(raw: RawTrace, purpose: str) -> TraceCounts:
    """A trace as the record keeps it."""
    header = raw.header
    return TraceCounts(
        channel=header.channel,
        pulse_index=header.pulse_index,
        sample_period_ns=header.sample_period_ns,
        on_time_us=header.on_time_us,
        first_sample_ns=header.first_sample_ns,
        supply_skew_ns=header.supply_skew_ns,
        drain_skew_ns=header.drain_skew_ns,
        truncated=bool(header.truncated),
        tripped=bool(header.tripped),
        fine=raw.fine,
        wide=raw.wide,
        supply=raw.supply,
        drain=raw.drain,
        purpose=purpose,
    )


def scan_of(result: messages.ScanResult, calibrations: dict[int, Calibration]) -> dict[int, ScanReading]:
    """One scan in volts and amperes, for the channels it covered."""
    found: dict[int, ScanReading] = {}
    for channel, scales in calibrations.items():
        bit = 1 << (channel - 1)
        if not result.mask & bit:
            continue
        current, current_u = (
            _sense_current(result, channel, scales) if result.sensed_mask & bit else (None, 0.0)
        )
        found[channel] = ScanReading(
            drain_v=result.drain_counts[channel - 1] * scales.drain_v_per_count,
            bias_v=scales.bias_v,
            drain_u_v=scales.sample_u_counts * scales.drain_v_per_count,
            current_a=current,
            current_u_a=current_u,
        )
    return found


def _sense_current(result: messages.ScanResult, channel: int, scales: Calibration) -> tuple[float, float]:
    """Current at the end of a sense pulse: the fine range unless it is at its end."""
    fine = result.fine_counts[channel - 1]
    if fine < scales.usable_counts:
        return (fine - scales.fine_offset_counts) * scales.fine_a_per_count, (
            scales.sample_u_counts * scales.fine_a_per_count
        )
    wide = result.wide_counts[channel - 1]
    return (wide - scales.wide_offset_counts) * scales.wide_a_per_count, (
        scales.sample_u_counts * scales.wide_a_per_count
    )


def supply_of(result: messages.ScanResult, scales: Calibration) -> float:
    """Supply in V during a scan."""
    return result.supply_counts * scales.supply_v_per_count


def lowest_supply(traces: Iterable[Trace]) -> float | None:
    """Lowest supply in V while a channel was on: the median of the lowest tenth, so noise does not decide."""
    rows = [trace.supply_v[trace.on] for trace in traces]
    on = np.concatenate(rows) if rows else np.empty(0)
    if on.size == 0:
        return None
    return float(np.median(np.sort(on)[: max(1, on.size // 10)]))


def facts_of(identity: messages.Identity, calibrations: dict[int, Calibration], url: str) -> BoxFacts:
    """The instrument, for the record."""
    return BoxFacts(
        board=identity.board,
        serial_number=identity.serial_number,
        firmware_version=identity.firmware_version,
        protocol=f"{identity.protocol_major}.{identity.protocol_minor}",
        simulated=bool(identity.simulated),
        calibrated_on=identity.calibrated_on,
        adc_bits=identity.adc_bits,
        sample_period_ns=identity.sample_period_ns,
        build_hash=identity.build_hash,
        url=url,
        calibrations={
            c: {k: v for k, v in asdict(scales).items() if v is not None}
            for c, scales in calibrations.items()
        },
    )
