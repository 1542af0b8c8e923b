"""What the bench page shows of one channel: settings with their limits, gauges, blocks, cautions. Pure."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from loomproof.job.load_traits import REFERENCE_V
from loomproof.job.model import Job
from loomproof.procedure.bench.planning import Cost, FreePlan, plan_free, shown
from loomproof.procedure.bench.ranges import Range
from loomproof.procedure.bench.ways import SETTINGS, Setting, Way, defaults, first_way, ways_of
from loomproof.procedure.session import Session
from loomproof.safety.budget import Budget, pulse_budget
from loomproof.safety.cautions import brief_cautions, full_cautions
from loomproof.safety.interlocks import Blocked
from loomproof.safety.statements import hazards_of
from loomproof.tui.desk.prompts import caution_views
from loomproof.tui.pages.bench.view import BenchView, GaugeView, SettingView, WayView

WAY_LABELS = {way: way.value for way in Way} | {
    Way.PEAK_HOLD: "peak+hold",
    Way.FREQUENCY_SWEEP: "sweep Hz",
    Way.WIDTH_SWEEP: "sweep ms",
}
"""Short enough for six beside each other on a small screen."""
Blocks = tuple[tuple[str, str], ...]


def number_of(text: str) -> float | None:
    """Return what was typed as a number, with a point or a comma; None if it is none."""
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        return None
    return value if abs(value) < 1e9 else None  # also refuses inf and nan


def number_text(value: float) -> str:
    """Return a number as it stands in a field."""
    return f"{value:.4g}" if abs(value) < 1e4 else f"{value:.0f}"


def bench_view(
    job: Job,
    channel: int,
    way_name: str,
    texts: Mapping[str, str],
    *,
    session: Session | None,
    box_blocks: Blocks,
) -> BenchView:
    """Return the page's view of a channel.

    Args:
        job: the job.
        channel: a fitted channel.
        way_name: how it is to be driven; empty: as its load usually is.
        texts: what stands in the fields, by key; of a missing one the default is taken.
        session: on the box; None: none is connected, limits are nominal.
        box_blocks: what in the box's state blocks the channel.
    """
    ways = session.free.ways(channel) if session is not None else ways_of(job, channel)
    way = Way(way_name) if way_name in ways else first_way(job, channel)
    way = way if way in ways else next(iter(ways))
    budgets_of = _budgets(job)
    begin = (
        session.free.defaults(channel, way)
        if session
        else defaults(job, channel, way, budgets_of((channel,))[0])
    )
    fields = {s.key: texts.get(s.key, number_text(begin[s.key])) for s in SETTINGS[way]}
    values = {key: number for key, text in fields.items() if (number := number_of(text)) is not None}
    if session is not None:
        plan = session.free.plan(channel, way, values)
    else:
        plan = plan_free(job, channel, way, values, budgets_of)
    impossible = ((f"Not possible: {ways[way]}.", "Choose another way with w."),) if ways[way] else ()
    load, entry = job.load_type(channel), job.channel(channel)
    missing = _interlocked(session, channel, way)
    said = full_cautions if session is None or missing else brief_cautions
    return BenchView(
        channel=channel,
        way=way.value,
        ways=tuple(WayView(w.value, WAY_LABELS[w], blocked) for w, blocked in ways.items()),
        settings=tuple(_setting_view(s, fields[s.key], plan) for s in SETTINGS[way]),
        problem=" ".join(p.text for p in plan.problems if not p.key),
        blocks=box_blocks + impossible + missing + _fuel_gone(plan),
        gauges=gauges(plan.cost) if plan.requests else (),
        cautions=caution_views(said(hazards_of(load), job.setting, fuel_pump=entry.fuel_pump)),
        summary=_summary(plan),
        values=tuple(values.items()),
        ready=not plan.problems,
    )


def _budgets(job: Job) -> Callable[[Sequence[int]], list[Budget]]:
    return lambda channels: [pulse_budget(job, channel, REFERENCE_V) for channel in channels]


def _setting_view(setting: Setting, text: str, plan: FreePlan) -> SettingView:
    limits = plan.ranges.get(setting.key)
    problem = next((p for p in plan.problems if p.key == setting.key), None)
    return SettingView(
        setting.key,
        setting.label,
        setting.unit,
        text,
        range_text(limits, setting.unit) if limits is not None else "",
        limits.why if limits is not None else "",
        problem.text if problem is not None else "",
        problem.what if problem is not None else "",
        tuple((number_text(value), word) for value, word in setting.choices),
    )


def range_text(limits: Range, unit: str) -> str:
    """Return a range in words."""
    if limits.high < limits.low:
        return "nothing fits"
    text = f"{shown(limits.low, down=False, figures=2)} to {shown(limits.high, down=True)}"
    return f"{text} {unit}" if unit else text


def _summary(plan: FreePlan) -> str:
    if not plan.requests:
        return ""
    if plan.way in (Way.HOLD, Way.BRIDGE):
        return plan.sentence
    seconds = plan.cost.duration_s
    return (
        f"{plan.sentence}, {seconds:.1f} s" if seconds >= 1.0 else f"{plan.sentence}, {seconds * 1e3:.0f} ms"
    )


def _interlocked(session: Session | None, channel: int, way: Way) -> Blocks:
    if session is None:
        return ()
    try:
        permit = session.free.permit(channel, way)
    except ValueError:
        return ()  # said by the plan
    if not isinstance(permit, Blocked):
        return ()
    return tuple((block.reason, f"{block.remedy} Press u.") for block in permit.reasons)


def _fuel_gone(plan: FreePlan) -> Blocks:
    """A fuel budget that is used up is emptied by checking the isolation again, and by nothing else."""
    if not any(problem.fuel_spent for problem in plan.problems):
        return ()
    return (
        (
            "The fuel budget of this place is used up.",
            "Check the isolation again and state it anew. Press u.",
        ),
    )


def gauges(cost: Cost) -> tuple[GaugeView, ...]:
    """Return what a drive takes of what may be taken, as gauges with words."""
    found = [
        GaugeView(
            "Energy",
            text=f"up to {joules(cost.pulse_heat_j)} heat a pulse, {joules(cost.stored_j)} stored, "
            f"{joules(cost.heat_j)} in all",
        )
    ]
    if cost.warm_k is not None and cost.after_k is not None and cost.allowed_k:
        text = f"{_kelvin(cost.warm_k)} K now, {_kelvin(cost.after_k)} after, {cost.allowed_k:g} allowed"
        found.append(_gauge("Heat", cost.warm_k, cost.after_k, cost.allowed_k, text))
    if cost.fuel_ul is not None and cost.after_ul is not None and cost.allowed_ul:
        text = f"{cost.after_ul:.0f} of {cost.allowed_ul:.0f} µL if it is not isolated"
        found.append(_gauge("Fuel", cost.fuel_ul, cost.after_ul, cost.allowed_ul, text))
    return tuple(found)


def _kelvin(rise_k: float) -> str:
    return f"{rise_k:.0f}" if rise_k >= 9.5 else f"{rise_k:.1f}"


def _gauge(label: str, now: float, after: float, allowed: float, text: str) -> GaugeView:
    return GaugeView(label, now / allowed, after / allowed, fill_word(after / allowed), text)


def fill_word(share: float) -> str:
    """Return how full a gauge is, in a word."""
    if share > 1.0 + 1e-9:
        return "OVER"
    if share > 0.8:
        return "nearly full"
    return "over half" if share > 0.5 else "plenty left"


def joules(value: float) -> str:
    """Return an energy with a prefix."""
    for factor, prefix in ((1.0, ""), (1e-3, "m"), (1e-6, "µ")):
        if value >= factor:
            return f"{value / factor:.3g} {prefix}J"
    return "0 J"
