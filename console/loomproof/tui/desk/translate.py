"""From the session's facts to what the pages show. Pure; the only place that knows both sides."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from loomproof.diagnose.faults.words import NAMES as FAULT_NAMES
from loomproof.diagnose.faults.words import likelihood_text
from loomproof.facts.estimate import Estimate
from loomproof.facts.finding import Finding
from loomproof.facts.kinds import LoadKind
from loomproof.facts.signature import Moved, Signature
from loomproof.facts.step import StepEnd
from loomproof.facts.verdict import PropertyVerdict, Verdict, channel_verdict
from loomproof.job.engine import Engine
from loomproof.job.model import Job
from loomproof.procedure.prompts import CHOICE_TEXT, Choice, Prompt
from loomproof.procedure.step import Step
from loomproof.procedure.step_outcome import StepOutcome
from loomproof.procedure.timing import busy_s
from loomproof.safety.cautions import Caution
from loomproof.tui import views as v
from loomproof.tui.words import Live

CHOICE_KEYS: dict[Choice, str] = {
    Choice.STATE: "i",
    Choice.DRIVE: "g",
    Choice.SKIP: "k",
    Choice.LEAVE: "l",
    Choice.HEARD: "h",
    Choice.SEEN: "s",
    Choice.NOTHING: "n",
    Choice.AGAIN: "a",
    Choice.NOT_ASKED: "w",
    Choice.PULLED: "p",
    Choice.SEATED: "t",
}
CHOICE_LABELS: dict[Choice, str] = CHOICE_TEXT | {
    Choice.DRIVE: "go on",
    Choice.LEAVE: "leave it here",
    Choice.SEATED: "seated again",
}
"""Short enough for three beside each other on a small screen."""
_ROLES = {
    LoadKind.INJECTOR: "I",
    LoadKind.COIL: "S",
    LoadKind.IGNITER_COIL: "S",
}
_ENDS = {
    StepEnd.SKIPPED: "skipped",
    StepEnd.BLOCKED: "blocked",
    StepEnd.REFUSED: "refused",
    StepEnd.TRIPPED: "tripped",
    StepEnd.STOPPED: "stopped",
}


def job_view(job: Job) -> v.JobView:
    """Return the head of a job."""
    who = job.identity
    return v.JobView(
        title=who.title,
        number=who.job_number,
        customer=who.customer,
        vehicle=who.vehicle,
        builder=who.builder,
        setting=job.setting.value,
        note=who.note,
    )


def caution_views(cautions: Sequence[Caution]) -> tuple[v.CautionView, ...]:
    """Return cautions for the screen."""
    return tuple(v.CautionView(caution.signal.value, caution.text) for caution in cautions)


def prompt_view(prompt: Prompt) -> v.PromptView:
    """Return a prompt for the screen."""
    form = prompt.statement
    return v.PromptView(
        id=str(prompt.number),
        title=prompt.title,
        text=prompt.text,
        choices=tuple(
            v.ChoiceView(CHOICE_KEYS[choice], CHOICE_LABELS[choice], choice.value, choice is Choice.SKIP)
            for choice in prompt.choices
        ),
        cautions=caution_views(prompt.cautions),
        facts=tuple(v.FactView(fact.key, fact.text) for fact in form.facts) if form else (),
        typed_word=form.typed_word if form else "",
        channel=prompt.channel,
        problem=prompt.problem,
    )


def with_uncertainty(estimate: Estimate, factor: float, unit: str) -> str:
    """Return a value with its expanded uncertainty (k = 2), both to the uncertainty's second figure."""
    value, u2 = estimate.value * factor, 2.0 * estimate.u * factor
    digits = 0
    while digits < 4 and u2 < 10 ** (1 - digits):
        digits += 1
    return f"{value:.{digits}f} ± {u2:.{digits}f} {unit}"


def measured_text(signature: Signature | None) -> str:
    """Return a signature in a few words."""
    if signature is None:
        return ""
    parts = []
    if signature.resistance_ohm is not None:
        parts.append(with_uncertainty(signature.resistance_ohm, 1.0, "Ω"))
    if signature.inductance_h is not None:
        parts.append(with_uncertainty(signature.inductance_h, 1e3, "mH"))
    if not parts and signature.final_current_a is not None:
        parts.append(with_uncertainty(signature.final_current_a, 1.0, "A"))
    if signature.moved is not Moved.CANNOT_TELL:
        parts.append("moved" if signature.moved is Moved.YES else "did NOT move")
    return ", ".join(parts)


def channel_views(
    job: Job,
    verdicts: Sequence[PropertyVerdict] = (),
    signatures: Mapping[int, Signature] | None = None,
    live: Mapping[int, Live] | None = None,
) -> tuple[v.ChannelView, ...]:
    """Return every channel of a job as it stands."""
    signatures, live = signatures or {}, live or {}
    found = []
    for channel in sorted(job.channels, key=lambda c: c.channel):
        number = channel.channel
        load, location, feed = job.load_type(number), job.location_of(number), job.feed_of(number)
        verdict = channel_verdict(verdicts, number) if channel.fitted else Verdict.NOT_FITTED
        wrong = [
            p.reason for p in verdicts if p.channel == number and p.verdict in (Verdict.FAIL, Verdict.UNSURE)
        ]
        found.append(
            v.ChannelView(
                channel=number,
                name=channel.name,
                load=load.name,
                cavity=channel.cavity,
                wire=channel.wire or "",
                location=location.name if location else "",
                feed=feed.name if feed else "",
                hazard=load.hazard.value,
                live=live.get(number, Live.OFF),
                verdict=verdict.value,
                measured=measured_text(signatures.get(number)),
                reason="; ".join(reason for reason in wrong if reason),
                fitted=channel.fitted,
                cylinder=location.cylinder if location else None,
                role=_ROLES.get(load.kind, ""),
            )
        )
    return tuple(found)


def engine_view(job: Job, channels: Sequence[v.ChannelView]) -> v.EngineView:
    """Return the engine as it lies, with what is known at each cylinder."""
    engine = job.engine
    placed: dict[int, list[v.ChannelView]] = {}
    elsewhere = []
    for channel in channels:
        location = job.location_of(channel.channel)
        serves = location.serves if location and engine and engine.layout != "none" and channel.role else ()
        for cylinder in serves:
            placed.setdefault(cylinder, []).append(channel)
        if not serves and channel.fitted:
            elsewhere.append(channel)
    if engine is None or engine.layout == "none":
        return v.EngineView(elsewhere=tuple(elsewhere))
    across = engine.orientation == "crosswise"
    cylinders = []
    for place in engine.cylinder_places():
        own = sorted(placed.get(place.cylinder, []), key=lambda c: c.role)
        cylinders.append(
            v.CylinderView(
                number=place.cylinder,
                bank=place.y if across else place.x,
                place=place.x if across else place.y,
                marks=tuple((c.role, _mark(c)) for c in own),
                live=any(c.live is Live.DRIVEN for c in own),
            )
        )
    start, end = _ends(engine)
    return v.EngineView(
        cylinders=tuple(cylinders),
        layout=engine.layout,
        orientation=engine.orientation,
        numbering="DIN 73021" if engine.numbering == "din_73021" else "as the job states",
        firing_order=engine.firing_order,
        start_text=start,
        end_text=end,
        elsewhere=tuple(elsewhere),
    )


def _mark(channel: v.ChannelView) -> str:
    acting = channel.live in (Live.DRIVEN, Live.TRIPPED)
    return channel.live.value if acting else channel.verdict


def _ends(engine: Engine) -> tuple[str, str]:
    free = engine.free_end or ("front" if engine.orientation == "lengthwise" else "right")
    at_start = free in ("front", "left")
    return ("free end", "power output") if at_start else ("power output", "free end")


def outcome_state(outcome: StepOutcome | None) -> str:
    """Return a step's state: `waiting`, a verdict, `done`, or how it ended."""
    if outcome is None:
        return "waiting"
    if outcome.end is not StepEnd.DONE:
        return _ENDS.get(outcome.end, "stopped")
    if not outcome.channels and outcome.verdict is Verdict.PASS:
        return "done"
    return outcome.verdict.value


def outcome_text(outcome: StepOutcome | None) -> str:
    """Return what came of a step in a sentence or two."""
    if outcome is None:
        return ""
    parts = [*outcome.drove, *outcome.problems]
    parts += [f"{evidence_text}" for evidence_text in _evidence_texts(outcome)]
    if outcome.skipped_reason:
        parts.append(f"skipped: {outcome.skipped_reason}")
    if outcome.note:
        parts.append(outcome.note)
    return "; ".join(part for part in parts if part) or outcome.end.value


def _evidence_texts(outcome: StepOutcome) -> list[str]:
    texts = [measured_text(evidence.signature) for evidence in outcome.evidence if evidence.signature]
    if outcome.pull is not None:
        texts.append(_pull_text(outcome))
    return texts


def _pull_text(outcome: StepOutcome) -> str:
    assert outcome.pull is not None
    due = outcome.pull.expected_channel
    moved = [str(channel) for channel in outcome.pull.moved_channels]
    match outcome.pull.outcome:
        case "matched":
            return f"pulled: channel {due} lost its load, as it should"
        case "other":
            return f"pulled: channel {', '.join(moved)} lost its load, not channel {due} as it should"
        case "several":
            return f"pulled: channels {', '.join(moved)} lost their loads together, not channel {due} alone"
        case "none":
            return f"pulled: no channel lost its load; channel {due} should have"
    return "not pulled"


def step_view(
    step: Step, number: int, outcome: StepOutcome | None, *, running: bool, fitted: int = 0
) -> v.StepView:
    """Return one step of the run sheet; `fitted` is how many channels the loom has."""
    return v.StepView(
        id=step.id,
        number=number,
        kind=step.kind.value,
        title=step.title,
        what=step.what_will_happen,
        state="running" if running else outcome_state(outcome),
        channel=step.channel,
        hazard=step.hazard.value,
        drive=step.drive.sentence if step.drive else "",
        cautions=caution_views(step.cautions),
        outcome=outcome_text(outcome),
        attempts=outcome.attempt if outcome else 0,
        short=step.title.replace("Pull the connector: ", "Pull "),
        busy_s=busy_s(step, fitted),
    )


def finding_view(finding: Finding) -> v.FindingEntry:
    """Return one finding."""
    parts = [" and ".join(finding.cavities) if len(finding.cavities) < 3 else ", ".join(finding.cavities)]
    if finding.location and len(finding.channels) == 1:
        parts.append(finding.location)
    if finding.feed:
        parts.append(f"feed {finding.feed}")
    where = ", ".join(part for part in parts if part)
    alike = tuple(f"looks the same to this box: {FAULT_NAMES[fault]}" for fault in finding.cannot_tell_from)
    return v.FindingEntry(
        title=FAULT_NAMES[finding.fault],
        sentence=finding.sentence,
        likelihood=likelihood_text(finding.likelihood),
        where=where or "the whole loom",
        evidence=finding.evidence_for,
        against=finding.evidence_against + alike,
        remedy=finding.remedy,
        next_measurement=finding.next_measurement,
    )
