"""Which traces are of no use, or of less, and the reason in words."""

from __future__ import annotations

from loomproof.facts.trace import Trace

MIN_ON_SAMPLES = 8
SAMPLES_PER_TAU = 4.0


def useless_because(trace: Trace) -> tuple[str, ...]:
    """Reasons why nothing at all may be concluded about resistance or inductance from this trace."""
    reasons = []
    count = trace.during.stop - trace.during.start
    if trace.tripped:
        reasons.append(
            "tripped: the box switched the channel off on over-current; look for a short before trying again"
        )
    if count < MIN_ON_SAMPLES:
        reasons.append(
            f"too few samples: {count} within the pulse, {MIN_ON_SAMPLES} are needed; lengthen the pulse or "
            "keep every sample"
        )
    if trace.clipped:
        reasons.append(
            f"clipped: {trace.clipped_samples} samples lie beyond the end of both current ranges; "
            "shorten the pulse"
        )
    return tuple(reasons)


def aliased(sample_period_s: float, tau_s: float) -> str | None:
    """The reason not to trust an inductance whose time constant the samples do not resolve."""
    if sample_period_s * SAMPLES_PER_TAU <= tau_s:
        return None
    return (
        f"aliased: samples every {sample_period_s * 1e6:.0f} us do not resolve a time constant of "
        f"{tau_s * 1e6:.0f} us; keep more samples (lower decimation)"
    )


def truncated(trace: Trace, tau_s: float, needed: float = 2.0) -> str | None:
    """The reason not to trust a resistance from a rise that was cut off before it settled."""
    seen = float(min(trace.on_time_s, trace.time_s[-1])) if len(trace) else 0.0
    if seen >= needed * tau_s:
        return None
    cause = "the trace was cut off" if trace.truncated else "the pulse ends"
    return (
        f"truncated: {cause} {seen * 1e3:.2f} ms after switching on, {needed:g} time constants "
        f"({needed * tau_s * 1e3:.2f} ms) are needed"
    )
