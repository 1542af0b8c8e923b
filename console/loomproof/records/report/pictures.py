"""Traces as pictures: measured current over the expected band, as inline SVG."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np

from loomproof.facts.trace import Calibration, Trace
from loomproof.job.load_traits import LOGIC_KINDS
from loomproof.measure.trace.expected import ExpectedBand, expected_current
from loomproof.measure.trace.from_counts import trace_from_counts
from loomproof.records.models import BoxFact, ChannelFact, VerdictFact
from loomproof.records.record import StoredTrace

_SIZE_INCH = (3.45, 1.95)
_INK, _BAND, _EDGE, _QUIET = "#1b1b1b", "#cfe3f1", "#3f78a3", "#6b6b6b"
_RC: dict[Any, Any] = {
    "svg.fonttype": "none",
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 7.0,
    "axes.linewidth": 0.6,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
}


@dataclass(frozen=True)
class Picture:
    """One picture: SVG for the page, and its contents in words."""

    svg: str
    alt: str


def measured_trace(stored: StoredTrace, box: BoxFact) -> Trace | None:
    """Return a stored trace in amperes by the calibration in the record; None without counts or calibration."""
    calibration = box.calibrations.get(stored.header.channel)
    if stored.counts is None or not calibration or not stored.header.samples:
        return None
    c, names = stored.counts, Calibration.__dataclass_fields__
    known = {name: value for name, value in calibration.items() if name in names and value is not None}
    if "adc_bits" in known:
        known["adc_bits"] = int(known["adc_bits"])
    return trace_from_counts(
        c.fine,
        c.wide,
        c.supply,
        c.drain,
        Calibration(**known),  # type: ignore[arg-type]
        channel=c.channel,
        sample_period_s=c.sample_period_ns * 1e-9,
        first_sample_s=c.first_sample_ns * 1e-9,
        supply_skew_s=c.supply_skew_ns * 1e-9,
        drain_skew_s=c.drain_skew_ns * 1e-9,
        on_time_s=c.on_time_us * 1e-6,
        pulse_index=c.pulse_index,
        truncated=c.truncated,
        tripped=c.tripped,
    )


def band_of(trace: Trace, channel: ChannelFact, resistance: VerdictFact | None) -> ExpectedBand | None:
    """Return the band of a sound load; None when the job states too little.

    The limits of the verdict are preferred, since they already include wiring and temperature.
    """
    if resistance and resistance.low and resistance.high:
        ohms = (resistance.low, resistance.high)
    elif channel.resistance_ohm:
        wire = channel.wire_ohm
        ohms = (channel.resistance_ohm.low + wire, channel.resistance_ohm.high + wire)
    else:
        return None
    henries = (channel.inductance_h.low, channel.inductance_h.high) if channel.inductance_h else None
    steady = channel.steady_current_a.low if channel.steady_current_a else None
    logic = channel.kind in LOGIC_KINDS
    return expected_current(
        trace, ohms, henries, steady_a=steady, saturation_a=channel.saturation_a, logic=logic
    )


def draw(traces: Sequence[Trace], band: ExpectedBand | None, what: str, key: str) -> Picture:
    """Return a picture with the first trace drawn boldly and the others thinly.

    Args:
        traces: one or more traces of one channel.
        band: the band of a sound load; None = unknown.
        what: names the channel in the description.
        key: unique in the page, so that the ids of pictures do not collide.
    """
    from matplotlib import rc_context  # noqa: PLC0415 - only when a picture is drawn
    from matplotlib.backends.backend_svg import FigureCanvasSVG  # noqa: PLC0415 - only when a picture is drawn
    from matplotlib.figure import Figure  # noqa: PLC0415 - only when a picture is drawn

    with rc_context({**_RC, "svg.hashsalt": key}):
        figure = Figure(figsize=_SIZE_INCH, layout="constrained")
        FigureCanvasSVG(figure)
        axes = figure.add_subplot()
        if band is not None and band.time_s.size:
            axes.fill_between(band.time_s * 1e3, band.low_a, band.high_a, color=_BAND, lw=0, zorder=1)
            for edge in (band.low_a, band.high_a):
                axes.plot(band.time_s * 1e3, edge, color=_EDGE, lw=0.6, ls=(0, (3, 2)), zorder=2)
        for trace in traces[1:]:
            axes.plot(trace.time_s * 1e3, trace.current_a, color=_QUIET, lw=0.5, zorder=3)
        axes.plot(traces[0].time_s * 1e3, traces[0].current_a, color=_INK, lw=1.1, zorder=4)
        axes.axvline(traces[0].on_time_s * 1e3, color=_QUIET, lw=0.6, ls=":", zorder=0)
        axes.set_xlabel("time after switch-on, ms", labelpad=1.5)
        axes.set_ylabel("current, A", labelpad=2)
        axes.set_xlim(left=0.0)
        axes.grid(visible=True, color="#e4e4e4", lw=0.4)
        axes.spines[["top", "right"]].set_visible(False)
        buffer = io.BytesIO()
        figure.savefig(buffer, format="svg", metadata={"Date": None})
    return Picture(_inline(buffer.getvalue(), key, alt := _words(traces[0], band, what)), alt)


def _words(trace: Trace, band: ExpectedBand | None, what: str) -> str:
    on = trace.on if trace.on.any() else np.ones(len(trace), dtype=bool)
    last = float(np.median(trace.current_a[on][-5:]))
    text = (
        f"{what}: measured current over {trace.on_time_s * 1e3:.3g} ms of on-time; "
        f"highest {float(trace.current_a.max()):.3g} A, at the end of the pulse {last:.3g} A"
    )
    if band is None or not band.time_s.size:
        return f"{text}; no expected band."
    end = f"{band.time_s[-1] * 1e3:.3g} ms"
    return f"{text}; expected at {end}: {float(band.low_a[-1]):.3g} to {float(band.high_a[-1]):.3g} A."


def _inline(svg: bytes, key: str, alt: str) -> str:
    """Return a stand-alone SVG changed so that it can be part of an HTML page with others.

    Namespaces and metadata are removed (they are web addresses), ids get a prefix, and the style sheet inside is
    removed (it would apply to the whole page).
    """
    root = ET.fromstring(svg)
    for element in list(root.iter()):
        for child in list(element):
            if child.tag.split("}")[-1] in ("metadata", "style"):
                element.remove(child)
    for element in root.iter():
        element.tag = element.tag.split("}")[-1]
        attributes = {name.split("}")[-1]: value for name, value in element.attrib.items()}
        element.attrib.clear()
        element.attrib.update({n: _own(n, v, key) for n, v in attributes.items()})
    for name in ("width", "height", "version"):
        root.attrib.pop(name, None)
    label = f"{key}-title"
    root.attrib.update(
        {
            "role": "img",
            "aria-labelledby": label,
            "stroke-linejoin": "round",
            "stroke-linecap": "butt",
        }
    )
    title = ET.Element("title", {"id": label})
    title.text = alt
    root.insert(0, title)
    return ET.tostring(root, encoding="unicode")


def _own(name: str, value: str, key: str) -> str:
    if name == "id":
        return f"{key}-{value}"
    if name == "href" and value.startswith("#"):
        return f"#{key}-{value[1:]}"
    return re.sub(r"url\(#", f"url(#{key}-", value)
