"""What a case is, and how it says that a box failed it."""

from collections.abc import Callable
from dataclasses import dataclass

from loomproof.boxcheck.fixture import Bench
from loomproof.boxcheck.need import Need
from loomproof_wire.messages import Refusal


@dataclass(frozen=True)
class Case:
    """One guarantee and how it is tried.

    Attributes:
        key: short and stable, for `--only` and for scripts.
        guarantee: what the box must do, in words.
        rule: the heading of docs/protocol.md that asks for it.
        needs: without which it cannot be tried.
        mend: where the maker of a box should look when it fails.
        refusals: the refusal reasons that it provokes.
        run: tries it; raises `Failed` or `NotShown`.
    """

    key: str
    guarantee: str
    rule: str
    needs: frozenset[Need]
    mend: str
    refusals: frozenset[Refusal]
    run: Callable[["Bench"], None]


class CaseBook:
    """Collects the cases of one module in the order in which they are written."""

    def __init__(self) -> None:
        self.cases: list[Case] = []

    def case(
        self,
        guarantee: str,
        *,
        rule: str,
        mend: str,
        needs: tuple[Need, ...] = (),
        refusals: tuple[Refusal, ...] = (),
    ) -> Callable[[Callable[["Bench"], None]], Callable[["Bench"], None]]:
        """Register a function as a case; its name, with hyphens, is the key."""

        def register(run: Callable[["Bench"], None]) -> Callable[["Bench"], None]:
            key = run.__name__.replace("_", "-")
            self.cases.append(Case(key, guarantee, rule, frozenset(needs), mend, frozenset(refusals), run))
            return run

        return register
