"""From a draft to the text of a job file, with a comment at everything that was guessed or left out."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

import tomlkit
from tomlkit.items import AoT, Table

from loomproof.facts.kinds import HazardClass, JobSetting, LoadKind
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.engine import Engine
from loomproof.job.load_traits import LOAD_TRAITS
from loomproof.job.pinout.draft import PinoutDraft, PinoutOutput
from loomproof.job.pinout.sheet import Weight
from loomproof.job.pinout.values import NAME, fresh_id, slug
from loomproof.job.templates import Template

TO_SETTLE = "?"
"""Written as the load where the table leaves it open. No type has this key, so the job is not sound until settled."""
CYLINDER = re.compile(
    r"\b(?:cyl|cylinder|zyl|zylinder|cylindre|cil|cilindro|cilinder|cylindra)\w*\.?\s*(\d{1,2})"
    r"(?:\s*(?:/|\+|&|-|and|und|et|y|e|en)\s*(\d{1,2}))?\b",
    re.IGNORECASE,
)
NUMBERED = re.compile(r"(\d{1,2})(?:\s*(?:/|\+|&|-|and|und|et)\s*(\d{1,2}))?\s*$")
TERMINAL = re.compile(r"^(?:kl|klemme|terminal|borne)?\.?\s*(15|30|87)$", re.IGNORECASE)
FUSE = re.compile(r"(\d+(?:[.,]\d+)?)\s*A\b")


@dataclass
class _Ids:
    """Ids by the text they stand for; two texts never share one."""

    default: str
    by_text: dict[str, str] = field(default_factory=dict)

    def id(self, text: str) -> str:
        if text not in self.by_text:
            base = text if NAME.match(text) else slug(text, self.default)
            self.by_text[text] = fresh_id(base, self.by_text.values())
        return self.by_text[text]


def pinout_job_text(
    draft: PinoutDraft,
    *,
    title: str,
    job_number: str,
    source: str,
    template: Template | None = None,
) -> str:
    """Return the TOML text of the job that a pin-out draft describes.

    Args:
        draft: What was read.
        title: What the loom is.
        job_number: The shop's own number.
        source: The table's file name, for the heading comment.
        template: Gives setting and engine; None: a vehicle without an engine.
    """
    engine = template.engine if template is not None else None
    document = tomlkit.document()
    for line in _head(draft, source):
        document.add(tomlkit.comment(line))
    document.add("schema_version", tomlkit.item(1))
    setting = tomlkit.item((template.setting if template is not None else JobSetting.VEHICLE).value)
    setting.comment("bench, vehicle or classroom: the cautions depend on it")
    document.add("setting", setting)
    document.add("identity", tomlkit.item({"title": title, "job_number": job_number}))
    if engine is not None:
        document.add("engine", tomlkit.item(engine.model_dump(mode="json", exclude_unset=True)))
    document.add("connectors", _connectors(draft))
    places, feeds = _Ids("place"), _Ids("feed")
    supplies = [_feed(text, feeds) for text in dict.fromkeys(line.feed for line in draft.lines if line.feed)]
    if supplies:
        document.add("feeds", tomlkit.item(supplies))
    document.add("locations", _locations(draft, places, engine))
    document.add("channels", _channels(draft, places, feeds))
    document.add(tomlkit.nl())
    for left in draft.left_out:
        document.add(tomlkit.comment(_one_line(f"row {left.row} left out, {left.reason}: {left.text}")))
    return tomlkit.dumps(document)


def _one_line(text: str) -> str:
    return "".join(char if char.isprintable() else " " for char in text)[:220]


def _head(draft: PinoutDraft, source: str) -> list[str]:
    open_ones = len(draft.to_settle)
    lines = [
        _one_line(f"From the pin-out {source} ({draft.sheet.how})."),
        f"{len(draft.lines)} outputs, {len(draft.left_out)} rows left out (at the end), {open_ones} to settle.",
        "Compare every line with the wiring diagram, then run: loomproof check",
    ]
    for match in draft.matching.matches:
        if match.column is not None:
            lines.append(_one_line(f"{match.fact.value} from column {match.column.label}: {match.why}"))
    return lines


def _connectors(draft: PinoutDraft) -> AoT:
    largest: dict[str, int] = {}
    for line in draft.lines:
        largest[line.connector] = max(largest.get(line.connector, 0), line.cavity)
    tables = tomlkit.item(
        [
            {"id": name, "name": f"connector {name}", "cavities": cavities}
            for name, cavities in largest.items()
        ]
    )
    for table in tables:
        table["cavities"].comment("the largest in the table: write how many the connector has")
    return tables


def _feed(text: str, feeds: _Ids) -> dict[str, object]:
    feed: dict[str, object] = {"id": feeds.id(text), "name": text[:200]}
    terminal = TERMINAL.match(text)
    fuse = FUSE.search(text)
    if terminal is not None:
        feed["terminal"] = terminal[1]
    if fuse is not None and 0.5 <= float(fuse[1].replace(",", ".")) <= 150:
        feed["fuse_a"] = float(fuse[1].replace(",", "."))
    return feed


def _locations(draft: PinoutDraft, places: _Ids, engine: Engine | None) -> AoT:
    tables = tomlkit.aot()
    seen: dict[str, Table] = {}
    for line in draft.lines:
        name = places.id(line.location)
        if name not in seen:
            seen[name] = tomlkit.table()
            seen[name].update({"id": name, "name": (line.location or name)[:200]})
            tables.append(seen[name])
        if engine is not None and "cylinder" not in seen[name] and "cylinders" not in seen[name]:
            _serve(seen[name], line, engine)
    return tables


def _serve(table: Table, line: PinoutOutput, engine: Engine) -> None:
    """Say which cylinder an injector or a coil serves, as the words say."""
    kinds = {CATALOGUE[key].kind for key in ((line.load.key,) if line.load.key else line.load.candidates)}
    if not kinds or not all(LOAD_TRAITS[kind].placed for kind in kinds):
        return
    plainly = CYLINDER.search(line.location) or CYLINDER.search(line.name)
    found = plainly or NUMBERED.search(line.location) or NUMBERED.search(line.name)
    if found is None or int(found[1]) > engine.cylinders:
        return
    pair = found[2] is not None and LoadKind.INJECTOR not in kinds
    value: object = [int(found[1]), int(found[2])] if pair else int(found[1])
    key = "cylinders" if pair else "cylinder"
    table[key] = value
    if plainly is None:
        table[key].comment(
            _one_line(f"from the number in `{found[0].strip()}`: look whether it counts cylinders")
        )


def _channels(draft: PinoutDraft, places: _Ids, feeds: _Ids) -> AoT:
    remarks: dict[int, list[str]] = {}
    for remark in draft.remarks:
        if remark.row is not None:
            word = "SETTLE" if remark.weight is Weight.SETTLE else "look"
            remarks.setdefault(remark.row, []).append(
                f"{word}, {remark.column}: {remark.reason}; {remark.remedy}"
            )
    tables = tomlkit.aot()
    for line in draft.lines:
        table = tomlkit.table()
        for note in (f"row {line.row}", *line.notes, *remarks.get(line.row, ())):
            table.add(tomlkit.comment(_one_line(note)))
        for key, value in _channel(line, places, feeds).items():
            table.add(key, value)
        tables.append(table)
    return tables


def _channel(line: PinoutOutput, places: _Ids, feeds: _Ids) -> Mapping[str, object]:
    load = CATALOGUE.get(line.load.key or "")
    group = line.group or (line.location if load is not None and load.kind is LoadKind.STEPPER else "")
    content: dict[str, object | None] = {
        "channel": line.channel,
        "name": line.name or f"cavity {line.connector}-{line.cavity}",
        "cavity": f"{line.connector}-{line.cavity}",
        "wire": line.wire,
        "section_mm2": line.section_mm2,
        "length_m": line.length_m,
        "load": line.load.key or TO_SETTLE,
        "location": places.id(line.location),
        "feed": feeds.id(line.feed) if line.feed else None,
        "fuel_pump": line.fuel_pump or None,
        "fitted": None if line.fitted else False,
        "group": (group if NAME.match(group) else slug(group, "stepper")) if group else None,
    }
    if line.hazard is not HazardClass.NONE:
        override = tomlkit.inline_table()
        override["hazard"] = line.hazard.value
        content["override"] = override
    return {key: value for key, value in content.items() if value is not None}
