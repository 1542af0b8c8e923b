"""What a case is, and how it says that a box failed it."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from loomproof_wire.messages import Refusal

if TYPE_CHECKING:
    from loomproof.boxcheck.bench import Bench


class Need(StrEnum):
    """What must be at hand for a case to be run; the value is how the table says it."""

    CHANNEL = "a harmless channel"
    TWO = "two harmless channels"
    FOUR = "four harmless channels"
    BRIDGE = "a half-bridge pair with a dummy load"
    STOP_BUTTON = "hands at the stop button"
    SUPPLY = "hands at the supply switch"
    CONNECTOR = "hands at a load's connector"


class Failed(Exception):  # noqa: N818 - the name says what happened
    """The box did not do what the guarantee says; the text says what it did."""


class NotShown(Exception):  # noqa: N818 - the name says what happened
    """This box or this bench gives no way to see it; the text says why."""


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
