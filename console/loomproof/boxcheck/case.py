"""A case: one guarantee of the protocol and the function that tries it."""

from collections.abc import Callable
from dataclasses import dataclass

from loomproof.boxcheck.fixture import Fixture
from loomproof.boxcheck.need import Need
from loomproof_wire.messages import Refusal


@dataclass(frozen=True)
class CheckCase:
    """One guarantee and how it is tried.

    Attributes:
        key: a short and stable name, for `--only` and for scripts.
        guarantee: what the box must do, in words.
        rule: the heading of docs/protocol.md that demands it.
        needs: what the case cannot be tried without.
        mend: where the maker of a box should look when it is broken.
        refusals: the refusal reasons that the case provokes.
        run: tries the case; raises `Failed` or `NotShown`.
    """

    key: str
    guarantee: str
    rule: str
    needs: frozenset[Need]
    mend: str
    refusals: frozenset[Refusal]
    run: Callable[["Fixture"], None]


class CaseBook:
    """Collects the cases of one module in the order in which they are written."""

    def __init__(self) -> None:
        self.cases: list[CheckCase] = []

    def case(
        self,
        guarantee: str,
        *,
        rule: str,
        mend: str,
        needs: tuple[Need, ...] = (),
        refusals: tuple[Refusal, ...] = (),
    ) -> Callable[[Callable[["Fixture"], None]], Callable[["Fixture"], None]]:
        """Return a decorator that registers a function as a case; its name, with hyphens, is the key.

        Args:
            guarantee: what the box must do, in words.
            rule: the heading of docs/protocol.md that demands it.
            mend: where the maker of a box should look when it is broken.
            needs: what the case cannot be tried without.
            refusals: the refusal reasons that the case provokes.
        """

        def register(run: Callable[["Fixture"], None]) -> Callable[["Fixture"], None]:
            key = run.__name__.replace("_", "-")
            self.cases.append(
                CheckCase(key, guarantee, rule, frozenset(needs), mend, frozenset(refusals), run)
            )
            return run

        return register
