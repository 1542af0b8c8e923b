"""The text of a new job, to be filled in: sound as it stands, so that it can be checked while it grows."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import tomlkit

from loomproof.facts.kinds import JobSetting
from loomproof.job.engine import Engine
from loomproof.job.model import OUTPUTS

COMMENT = "Fill in colours, sizes and lengths from the wiring diagram, then run: loomproof check"


def new_job_text(
    title: str,
    job_number: str,
    *,
    setting: JobSetting = JobSetting.BENCH,
    engine: Engine | None = None,
    injector: str = "injector_high",
    coil: str = "coil_bare",
) -> str:
    """Return the TOML text of a job with one header and, for an engine, its injectors and coils.

    Args:
        title: What the loom is.
        job_number: The shop's own number.
        setting: Where the loom is while it is proven.
        engine: Gives one injector to each cylinder, and coils as its ignition wants them.
        injector: Catalogue key of the injectors.
        coil: Catalogue key of the coils.

    Raises:
        ValueError: The engine needs more than the box's sixteen channels, or has no wasted-spark pairs.
    """
    rows = [] if engine is None else _loads(engine, injector, coil)
    if len(rows) > OUTPUTS:
        raise ValueError(
            f"{len(rows)} outputs are needed and the box has {OUTPUTS}: split the job over two boxes"
        )
    rows = rows or [("relay1", "first relay", "relay_plain", ())]
    document = tomlkit.document()
    document.add(tomlkit.comment(COMMENT))
    document.add("schema_version", tomlkit.item(1))
    document.add("setting", tomlkit.item(setting.value))
    document.add("identity", tomlkit.item({"title": title, "job_number": job_number}))
    if engine is not None:
        document.add("engine", tomlkit.item(engine.model_dump(mode="json", exclude_unset=True)))
    document.add("connectors", tomlkit.item([{"id": "H1", "name": "header", "cavities": max(16, len(rows))}]))
    document.add("feeds", tomlkit.item([{"id": "F1", "name": "main relay output", "terminal": "87"}]))
    document.add("locations", tomlkit.item([_location(*row) for row in rows]))
    document.add(
        "channels", tomlkit.item([_channel(number, *row) for number, row in enumerate(rows, start=1)])
    )
    return tomlkit.dumps(document)


Row = tuple[str, str, str, tuple[int, ...]]
"""Location id, name, load key, cylinders served."""


def _loads(engine: Engine, injector: str, coil: str) -> list[Row]:
    rows: list[Row] = []
    for number in range(1, engine.cylinders + 1):
        rows.append((f"inj{number}", f"cylinder {number} injector", injector, (number,)))
    if engine.ignition == "single":
        for number in range(1, engine.cylinders + 1):
            rows.append((f"coil{number}", f"cylinder {number} coil", coil, (number,)))
    elif engine.ignition == "wasted_spark":
        for pair in engine.wasted_pairs:
            names = " and ".join(map(str, pair))
            rows.append((f"coil{pair[0]}_{pair[1]}", f"coil of cylinders {names}", coil, pair))
    return rows


def _location(name: str, words: str, _load: str, serves: tuple[int, ...]) -> dict[str, object]:
    where: dict[str, object] = {"id": name, "name": words}
    if len(serves) == 1:
        where["cylinder"] = serves[0]
    elif serves:
        where["cylinders"] = list(serves)
    return where


def _channel(number: int, name: str, words: str, load: str, _serves: tuple[int, ...]) -> dict[str, object]:
    return {
        "channel": number,
        "name": words,
        "cavity": f"H1-{number}",
        "section_mm2": 0.75,
        "length_m": 2.0,
        "load": load,
        "location": name,
        "feed": "F1",
    }


@dataclass(frozen=True)
class Template:
    """A beginning for a new job: what it is for, where the loom is, and its engine."""

    name: str
    words: str
    setting: JobSetting
    engine: Engine | None = None


def _engine(cylinders: int, firing_order: tuple[int, ...], **more: Any) -> Engine:  # noqa: ANN401
    return Engine(cylinders=cylinders, firing_order=firing_order, **more)


TEMPLATES: Mapping[str, Template] = MappingProxyType(
    {
        template.name: template
        for template in (
            Template("bench", "a loom on the bench, no engine", JobSetting.BENCH),
            Template("vehicle", "a loom in a vehicle, no engine", JobSetting.VEHICLE),
            Template("classroom", "a training rig, no engine", JobSetting.CLASSROOM),
            Template("single", "one cylinder", JobSetting.VEHICLE, _engine(1, (1,))),
            Template("twin", "inline two", JobSetting.VEHICLE, _engine(2, (1, 2))),
            Template("inline-three", "inline three, a coil each", JobSetting.VEHICLE, _engine(3, (1, 3, 2))),
            Template("inline-four", "inline four, a coil each", JobSetting.VEHICLE, _engine(4, (1, 3, 4, 2))),
            Template(
                "inline-four-wasted",
                "inline four, wasted spark",
                JobSetting.VEHICLE,
                _engine(4, (1, 3, 4, 2), ignition="wasted_spark"),
            ),
            Template(
                "inline-five", "inline five, a coil each", JobSetting.VEHICLE, _engine(5, (1, 2, 4, 5, 3))
            ),
            Template(
                "inline-six", "inline six, a coil each", JobSetting.VEHICLE, _engine(6, (1, 5, 3, 6, 2, 4))
            ),
            Template(
                "vee-six-wasted",
                "vee six of 60 degrees, wasted spark",
                JobSetting.VEHICLE,
                _engine(6, (1, 4, 2, 5, 3, 6), layout="vee", bank_angle_deg=60, ignition="wasted_spark"),
            ),
            Template(
                "flat-four",
                "flat four, a coil each",
                JobSetting.VEHICLE,
                _engine(4, (1, 3, 2, 4), layout="flat"),
            ),
            Template(
                "vee-eight-fuel",
                "vee eight of 90 degrees, injectors alone",
                JobSetting.VEHICLE,
                _engine(8, (1, 5, 4, 8, 6, 3, 7, 2), layout="vee", bank_angle_deg=90, ignition="none"),
            ),
        )
    }
)
"""By name. Firing orders are common ones (common practice, no source): state the engine's own."""


def template_text(template: Template, title: str, job_number: str) -> str:
    """Return the text of a new job from a template."""
    return new_job_text(title, job_number, setting=template.setting, engine=template.engine)
