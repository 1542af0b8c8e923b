"""Whether a fuse can carry what hangs behind it."""

from collections.abc import Iterator

from loomproof.job.file.draft import Draft
from loomproof.job.load_traits import LOAD_TRAITS, LOGIC_KINDS, REFERENCE_V
from loomproof.job.load_type import LoadType
from loomproof.job.problem import Flaw

_AT_ONCE = 0.25
"""Share of all loads of a feed that are on at once at the least; common practice, no source."""


def fuse_flaws(draft: Draft) -> Iterator[Flaw]:
    """Yield fuses that the feed's own loads would blow."""
    for placed in draft.feeds:
        fuse_a = placed.part.fuse_a
        fed = [c.part for c in draft.channels if c.part.feed == placed.part.id and c.part.fitted]
        loads = [load for channel in fed if (load := draft.load_of(channel)) is not None]
        drawn = [ampere for load in loads if (ampere := steady_a(load))]
        if fuse_a is None or not drawn:
            continue
        if fuse_a < max(drawn):
            reason = f"a fuse of {fuse_a:g} A, and one load alone draws {max(drawn):.2g} A"
            yield Flaw((*placed.path, "fuse_a"), reason, "read the fuse's own number, or mend the loads")
        elif fuse_a < _AT_ONCE * sum(drawn):
            reason = f"a fuse of {fuse_a:g} A, and its {len(drawn)} loads draw {sum(drawn):.2g} A together"
            yield Flaw(
                (*placed.path, "fuse_a"), reason, "read the fuse's own number, or mend the loads' feeds"
            )


def steady_a(load: LoadType) -> float | None:
    """What a load draws all the while it is on; None where it takes short pulses, or little through an input."""
    if load.kind in LOGIC_KINDS or LOAD_TRAITS[load.kind].dwell_share is not None:
        return None
    if load.steady_current_a is not None:
        return load.steady_current_a.value
    if load.resistance_ohm is None:
        return None
    return REFERENCE_V / load.resistance_ohm.value
