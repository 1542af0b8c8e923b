"""The engine and the places on it: numbers, banks, firing order, companions."""

from collections import Counter
from collections.abc import Iterator

from loomproof.job.engine import CYCLE_DEG, Engine
from loomproof.job.file.draft import Draft
from loomproof.job.file.positions import Path
from loomproof.job.model import Location
from loomproof.job.problem import Flaw

MIRRORED_CRANKS = (4, 6)
"""Even-firing inline engines of so many cylinders have a crankshaft that is its own mirror image: cylinders 1
and n, 2 and n - 1, ... reach top dead centre together (common practice, no source)."""


def engine_flaws(draft: Draft) -> Iterator[Flaw]:
    """Yield what is wrong with the engine in itself."""
    if draft.engine is None:
        return
    engine = draft.engine.part
    order = list(_order_flaws(engine))
    flaws = [*order, *_interval_flaws(engine), *_bank_flaws(engine), *_lie_flaws(engine)]
    if not flaws:
        flaws = [*_crank_flaws(engine), *_wasted_flaws(engine)]
    for flaw in flaws:
        yield Flaw((*draft.engine.path, *flaw.path), flaw.reason, flaw.remedy)


def _numbers_flaw(key: str, written: tuple[int, ...], cylinders: int) -> Iterator[Flaw]:
    counts = Counter(written)
    faults = []
    twice = sorted(number for number, count in counts.items() if count > 1)
    strange = sorted(number for number in counts if not 1 <= number <= cylinders)
    missing = [number for number in range(1, cylinders + 1) if number not in counts]
    for numbers, words in ((twice, "named twice"), (strange, "not on this engine"), (missing, "missing")):
        if numbers:
            faults.append(f"{', '.join(map(str, numbers))} {words}")
    if faults:
        remedy = f"name each of the cylinders 1 to {cylinders} once"
        yield Flaw((key,), "impossible: cylinder " + "; ".join(faults), remedy)


def _order_flaws(engine: Engine) -> Iterator[Flaw]:
    order = engine.firing_order
    flaws = list(_numbers_flaw("firing_order", order, engine.cylinders))
    yield from flaws
    if not flaws and order[0] != 1:
        at = order.index(1)
        turned = ", ".join(map(str, order[at:] + order[:at]))
        yield Flaw(("firing_order",), "a firing order begins with cylinder 1", f"write [{turned}]")


def _interval_flaws(engine: Engine) -> Iterator[Flaw]:
    intervals = engine.intervals_deg
    if intervals is None:
        return
    if len(intervals) != engine.cylinders:
        reason = f"{len(intervals)} intervals for {engine.cylinders} cylinders"
        yield Flaw(("intervals_deg",), reason, "give one for each cylinder of the firing order")
    elif min(intervals) < 0 or abs(sum(intervals) - CYCLE_DEG) > 1e-6:
        reason = f"they add up to {sum(intervals):g} degrees, not {CYCLE_DEG:g}"
        yield Flaw(("intervals_deg",), reason, "mend them, or leave them out if the engine fires evenly")


def _bank_flaws(engine: Engine) -> Iterator[Flaw]:
    two_banks = engine.layout in ("vee", "flat")
    if engine.numbering == "stated":
        if engine.banks is None:
            remedy = "add banks = [[...], [...]], the left bank first, each from the free end"
            yield Flaw(("banks",), 'numbering = "stated" needs the banks', remedy)
        else:
            written = tuple(number for bank in engine.banks for number in bank)
            yield from _numbers_flaw("banks", written, engine.cylinders)
            if len(engine.banks) != (2 if two_banks else 1):
                reason = f"layout {engine.layout} and {_banks(len(engine.banks))} do not agree"
                yield Flaw(("banks",), reason, "vee and flat engines have two, others one")
    elif engine.banks is not None:
        yield Flaw(("banks",), "DIN 73021 numbering already says the banks", 'add numbering = "stated"')
    elif two_banks and engine.cylinders % 2:
        reason = f"{engine.cylinders} cylinders do not make two equal banks"
        yield Flaw(("cylinders",), reason, 'mend it, or state the banks with numbering = "stated"')


def _banks(count: int) -> str:
    return "one bank" if count == 1 else f"{count} banks"


def _lie_flaws(engine: Engine) -> Iterator[Flaw]:
    ends = ("front", "rear") if engine.orientation == "lengthwise" else ("left", "right")
    if engine.free_end is not None and engine.free_end not in ends:
        reason = f"an engine lying {engine.orientation} does not end at the {engine.free_end}"
        yield Flaw(("free_end",), reason, f'write "{ends[0]}" or "{ends[1]}"')
    if engine.bank_angle_deg is not None and engine.layout != "vee":
        yield Flaw(("bank_angle_deg",), f"it means nothing for layout {engine.layout}", "remove it")


def _crank_flaws(engine: Engine) -> Iterator[Flaw]:
    mirrored = engine.layout == "inline" and engine.cylinders in MIRRORED_CRANKS
    if not mirrored or engine.intervals_deg is not None or engine.numbering == "stated":
        return
    for one, other in engine.wasted_pairs:
        if one + other != engine.cylinders + 1:
            yield Flaw(
                ("firing_order",),
                f"impossible with an even-firing crankshaft: cylinders {one} and {other} would fire 360 "
                f"degrees apart, but the companion of {one} is {engine.cylinders + 1 - one}",
                "mend the order; if the crankshaft is an uneven one, state intervals_deg",
            )
            return


def _wasted_flaws(engine: Engine) -> Iterator[Flaw]:
    if engine.ignition != "wasted_spark":
        return
    try:
        engine.wasted_pairs  # noqa: B018 - computing it is the check
    except ValueError as error:
        yield Flaw(
            ("ignition",), f"wasted spark is impossible: {error}", 'mend it, or write ignition = "single"'
        )


def location_flaws(draft: Draft) -> Iterator[Flaw]:
    """Yield where a location does not fit the engine.

    Companions and banks are compared only where the engine is sound in itself; otherwise its flaw is reported already.
    """
    sound = not any(engine_flaws(draft))
    for placed in draft.locations:
        location = placed.part
        if location.cylinder is not None and location.cylinders:
            reason = "it stands beside `cylinder`; a location serves one cylinder or a pair of companions"
            yield Flaw((*placed.path, "cylinders"), reason, "remove one of the two")
        if draft.engine is not None:
            yield from _on_engine(draft.engine.part, location, placed.path, sound)
        elif not draft.engine_written and (location.serves or location.bank is not None):
            key = "bank" if not location.serves else "cylinders" if location.cylinders else "cylinder"
            yield Flaw(
                (*placed.path, key), "the job has no engine", "add an [engine] table, or remove the key"
            )


def _on_engine(engine: Engine, location: Location, path: Path, sound: bool) -> Iterator[Flaw]:
    key = "cylinders" if location.cylinders else "cylinder"
    for number in location.serves:
        if not 1 <= number <= engine.cylinders:
            reason = f"the engine has {engine.cylinders} cylinders, no number {number}"
            yield Flaw((*path, key), reason, f"write 1 to {engine.cylinders}")
            return
    if not sound:
        return
    if location.cylinders:
        yield from _companions(engine, location.cylinders, (*path, key))
    rows = engine.bank_rows()
    if location.bank is not None and location.bank > len(rows):
        remedy = "remove it" if len(rows) == 1 else "write 1 or 2"
        yield Flaw((*path, "bank"), f"the engine has {_banks(len(rows))}", remedy)
    elif location.bank is not None and any(n not in rows[location.bank - 1] for n in location.serves):
        serves = ", ".join(map(str, location.serves))
        row = ", ".join(map(str, rows[location.bank - 1]))
        reason = f"cylinder {serves} is not in bank {location.bank} ({row})"
        yield Flaw((*path, "bank"), reason, "mend bank or cylinder, or state the engine's own numbering")


def _companions(engine: Engine, cylinders: tuple[int, ...], path: Path) -> Iterator[Flaw]:
    try:
        pairs = engine.wasted_pairs
    except ValueError:
        yield Flaw(path, "this engine has no companion cylinders", "use `cylinder`")
        return
    if len(cylinders) != 2 or tuple(sorted(cylinders)) not in {tuple(sorted(pair)) for pair in pairs}:
        listed = ", ".join(f"{one}/{other}" for one, other in pairs)
        reason = f"{'/'.join(map(str, cylinders))} are not companions in this firing order"
        yield Flaw(path, reason, f"the companions are {listed}")
