"""The study's tables as Markdown."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from benchmarks.study.joints import JointLimits
from benchmarks.study.tally import (
    Share,
    Study,
    confusion,
    detection_rows,
    odds_found,
    reliability,
    smallest_joints,
)
from loomproof.facts.fault_kind import FaultKind

SHORT = {
    "open": "open",
    "short_to_ground": "s.gnd",
    "leak_to_ground": "leak",
    "short_to_supply": "s.sup",
    "short_across_load": "s.load",
    "added_resistance": "added",
    "swapped": "swap",
    "shifted": "shift",
    "bridged": "bridge",
    "two_on_one_wire": "2 on 1",
    "ground_open": "g.open",
    "feed_open": "f.open",
    "feed_weak": "f.weak",
    "shorted_turns": "turns",
    "stuck_armature": "stuck",
    "suppression_missing": "sup.m",
    "suppression_reversed": "sup.r",
    "wrong_load": "wrong",
    "wrong_set": "w.set",
    "intermittent": "interm",
    "weak_supply": "supply",
    "nothing": "none",
}


def _row(cells: list[str]) -> str:
    return "| " + " | ".join(cells) + " |"


def _plain(share: Share) -> str:
    return f"{100 * share.part:.1f} ({share.total})" if share.total else "-"


def goals(study: Study, joints: JointLimits, reference: Study) -> Iterator[str]:
    """Each goal: must, stretch, measured on both boxes and on the reference board alone."""
    yield _row(["goal", "must", "stretch", "measured (95 % interval, Wilson)", "reference board alone"])
    yield _row(["---"] * 5)
    rows: tuple[tuple[str, str, str, Callable[[Study], Share]], ...] = (
        ("open or short not passed", "99.5 %", "99.9 %", Study.gross_flagged),
        ("sound channel failed", "0.1 %", "0.01 %", Study.false_channels),
        ("fault-free loom with any fail or finding", "2 %", "0.3 %", Study.false_looms),
        ("stuck armature found, by the current alone", "98 %", "99.5 %", Study.stuck_found),
        ("free armature of usual stroke called stuck", "0.2 %", "0.1 %", Study.stuck_false_usual),
        ("the same, strokes below the usual too", "0.2 %", "0.1 %", Study.stuck_false),
        ("sound channel left unsure", "0.4 %", "0.1 %", lambda s: s.false_channels("unsure")),
        ("sound loom passed whole", "95 %", "98 %", Study.passed_whole),
        ("the same, 6 to 8 channels", "95 %", "98 %", lambda s: s.passed_whole(6, 8)),
        ("the same, 9 to 12 channels", "95 %", "98 %", lambda s: s.passed_whole(9, 12)),
        ("the same, 13 to 16 channels", "95 %", "98 %", lambda s: s.passed_whole(13, 16)),
        (
            "faulty passed as sound, of those that physics lets one see",
            "0.1 %",
            "0.01 %",
            Study.passed_as_sound,
        ),
    )
    for words, must, stretch, of in rows:
        yield _row([words, must, stretch, str(of(study)), str(of(reference))])
    for count, must, stretch in ((1, "95 %", "99 %"), (2, "80 %", "90 %")):
        what = "single fault" if count == 1 else "both of two faults"
        for twins, words in (
            (True, "named first, alone or beside what looks the same"),
            (False, "named first alone"),
        ):
            cells = [str(s.named(count, twins=twins)) for s in (study, reference)]
            yield _row([f"{what} {words}", must, stretch, *cells])
    for joint in joints.rows():
        yield _row(joint)


def detection(study: Study) -> Iterator[str]:
    """Detection by kind and severity."""
    yield _row(
        [
            "fault",
            "severity",
            "failed % (n)",
            "failed or doubted %",
            "named first alone % (n)",
            "or beside its twin %",
        ]
    )
    yield _row(["---"] * 6)
    for kind, severity, failed, flagged, alone, twin in detection_rows(study):
        yield _row(
            [kind, severity or "-", _plain(failed), f"{100 * flagged.part:.1f}", _plain(alone), _plain(twin)]
        )


def confusions(study: Study) -> Iterator[str]:
    """Rows: what was there. Columns: what was named first."""
    table = confusion(study)
    kinds = [*(k.value for k in FaultKind), "nothing"]
    yield _row(["there \\ named first", *(SHORT[k] for k in kinds)])
    yield _row(["---"] * (len(kinds) + 1))
    for there in kinds:
        if there in table:
            yield _row([there.replace("_", " "), *(str(table[there][k] or "") for k in kinds)])


def extras(study: Study) -> Iterator[str]:
    """What is not a goal but belongs to it."""
    yield f"- Sound channels failed beside a fault: {study.beside()}."
    yield f"- Free armatures of which the current cannot tell: {study.stuck_doubt()}."
    for law in ("first", "second"):
        part = Study([o for o in study.outcomes if o.law == law])
        yield (
            f"- {law.capitalize()} plant law ({len(part.whole)} looms): channel failed falsely {part.false_channels()}; loom "
            f"accused falsely {part.false_looms()}; single fault named {part.named(1, twins=True)}; stuck found "
            f"{part.stuck_found()}, false {part.stuck_false()}."
        )
    which = "; ".join(f"seed {o.seed}, {o.error}" for o in study.broken)
    yield f"- Looms that broke the program: {len(study.broken)}{f' ({which})' if which else ''}."


def reliabilities(study: Study) -> Iterator[str]:
    """Stated likelihood against found share; then the odds of numbers against what was there."""
    yield _row(["stated likelihood of the first finding", "mean stated", "found true, alone"])
    yield _row(["---"] * 3)
    for words, mean, found in reliability(study):
        yield _row([words, f"{100 * mean:.1f} %", str(found)])
    yield ""
    yield _row(["natural logarithm of the odds of a number", "on a channel with a fault"])
    yield _row(["---"] * 2)
    for words, found in odds_found(study):
        yield _row([words, str(found)])


def joints_seen(study: Study) -> Iterator[str]:
    """The smallest joint by what is known of a channel, on the sound looms."""
    yield _row(
        [
            "known of the channel",
            "no longer passed on 99 % (of R)",
            "stated, median (of R)",
            "stated, yet passed",
        ]
    )
    yield _row(["---"] * 4)
    for group, needed, stated, unseen in smallest_joints(study):
        yield _row([group, f"{100 * needed:.1f} %", f"{100 * stated:.1f} %", str(unseen)])
