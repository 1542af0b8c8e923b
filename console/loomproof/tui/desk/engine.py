"""From a job's engine and its channels to the engine as it is drawn. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from loomproof.facts.verdict import Verdict
from loomproof.job.engine import Engine
from loomproof.job.model import Job
from loomproof.tui.views.channel import ChannelView
from loomproof.tui.views.engine import CylinderView, EngineView
from loomproof.tui.words import Live


def engine_view(job: Job, channels: Sequence[ChannelView]) -> EngineView:
    """Return the engine as it lies, with what is known at each cylinder."""
    engine = job.engine
    placed: dict[int, list[ChannelView]] = {}
    elsewhere = []
    for channel in channels:
        location = job.location_of(channel.channel)
        serves = location.serves if location and engine and engine.layout != "none" and channel.role else ()
        for cylinder in serves:
            placed.setdefault(cylinder, []).append(channel)
        if not serves and channel.fitted:
            elsewhere.append(channel)
    if engine is None or engine.layout == "none":
        return EngineView(elsewhere=tuple(elsewhere))
    across = engine.orientation == "crosswise"
    cylinders = []
    for place in engine.cylinder_places():
        own = sorted(placed.get(place.cylinder, []), key=lambda c: c.role)
        cylinders.append(
            CylinderView(
                number=place.cylinder,
                bank=place.y if across else place.x,
                place=place.x if across else place.y,
                marks=tuple((c.role, _mark(c)) for c in own),
                live=any(c.live is Live.DRIVEN for c in own),
            )
        )
    start, end = _ends(engine)
    return EngineView(
        cylinders=tuple(cylinders),
        layout=engine.layout,
        orientation=engine.orientation,
        numbering="DIN 73021" if engine.numbering == "din_73021" else "as the job states",
        firing_order=engine.firing_order,
        start_text=start,
        end_text=end,
        elsewhere=tuple(elsewhere),
    )


def _mark(channel: ChannelView) -> Verdict | Live:
    acting = channel.live in (Live.DRIVEN, Live.TRIPPED)
    return channel.live if acting else channel.verdict


def _ends(engine: Engine) -> tuple[str, str]:
    free = engine.free_end or ("front" if engine.orientation == "lengthwise" else "right")
    at_start = free in ("front", "left")
    return ("free end", "power output") if at_start else ("power output", "free end")
