"""Hands over the network: JSON lines over TCP beside the box's own port, and the same as typed words.

One request a line, such as `{"do": "pull", "at": "5"}`, is answered by `{"ok": true}` or by
`{"ok": false, "error": "..."}`.
"""

import json
import socket
from collections.abc import Iterable
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from loomproof_sim.hands.local import BoxHands, HandsError, Place


class _Act(BaseModel):
    """A request to the hands."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class PullAct(_Act):
    """Pull a connector."""

    do: Literal["pull"]
    at: Place

    def by(self, hands: BoxHands) -> None:
        """Pull it."""
        hands.pull(self.at)


class SeatAct(_Act):
    """Plug a connector in."""

    do: Literal["seat"]
    at: Place

    def by(self, hands: BoxHands) -> None:
        """Plug it in."""
        hands.seat(self.at)


class WiggleAct(_Act):
    """Wiggle the loom."""

    do: Literal["wiggle"]
    at: Place
    duration_s: float = 1.0
    severity: float = 1.0

    def by(self, hands: BoxHands) -> None:
        """Wiggle it."""
        hands.wiggle(self.at, self.duration_s, self.severity)


class SupplyAct(_Act):
    """Switch the supply on or off, or set its voltage."""

    do: Literal["supply"]
    on: bool | Annotated[float, Field(ge=0, le=60)]

    def by(self, hands: BoxHands) -> None:
        """Switch or set it."""
        hands.supply(self.on)


class StopInputAct(_Act):
    """Press or release the stop button."""

    do: Literal["stop_input"]
    open: bool

    def by(self, hands: BoxHands) -> None:
        """Press or release it."""
        hands.stop_input(self.open)


class NoticedAct(_Act):
    """Ask whether anything was noticed at a place when these channels were last driven."""

    do: Literal["noticed"]
    at: Place
    driven: list[int]

    def by(self, hands: BoxHands) -> dict[str, Any]:
        """Return the answer."""
        return {"noticed": hands.noticed(self.at, self.driven)}


AnyAct = PullAct | SeatAct | WiggleAct | SupplyAct | StopInputAct | NoticedAct
Act = Annotated[AnyAct, Field(discriminator="do")]
_ACT: TypeAdapter[AnyAct] = TypeAdapter(Act)

WORDS = "pull PLACE | seat PLACE | wiggle PLACE [SECONDS] | supply on|off|VOLTS | stop press|release"
"""What can be typed; PLACE is a channel or a location of the job."""
_SUPPLY = {"on": True, "off": False}
_STOP = {"press": True, "release": False}


def act_from_words(line: str) -> dict[str, Any]:
    """Return the request that a typed line stands for.

    Raises:
        HandsError: the line is no request.
    """
    verb, *rest = line.split(maxsplit=1)
    word = rest[0].strip() if rest else ""
    if verb in ("pull", "seat") and word:
        return {"do": verb, "at": word}
    if verb == "wiggle" and word:
        place, _, seconds = word.rpartition(" ")
        if place and _is_number(seconds):
            return {"do": "wiggle", "at": place, "duration_s": float(seconds)}
        return {"do": "wiggle", "at": word}
    if verb == "supply" and (word in _SUPPLY or _is_number(word)):
        return {"do": "supply", "on": _SUPPLY[word] if word in _SUPPLY else float(word)}
    if verb == "stop" and word in _STOP:
        return {"do": "stop_input", "open": _STOP[word]}
    raise HandsError(f"{line.strip()!r} is not a request; type {WORDS}")


def _is_number(word: str) -> bool:
    try:
        float(word)
    except ValueError:
        return False
    return True


def perform(request: object, hands: BoxHands) -> dict[str, Any]:
    """Carry out a request and return its answer; a wrong request gets an error as its answer."""
    try:
        answer = _ACT.validate_python(request).by(hands)
    except ValidationError as error:
        problems = "; ".join(f"{'.'.join(map(str, one['loc']))}: {one['msg']}" for one in error.errors())
        return {"ok": False, "error": problems}
    except HandsError as error:
        return {"ok": False, "error": str(error)}
    return {"ok": True, **(answer or {})}


def perform_line(line: bytes, hands: BoxHands) -> bytes:
    """Carry out a JSON line and return the line that answers it."""
    try:
        request = json.loads(line)
    except ValueError as error:
        answer: dict[str, Any] = {"ok": False, "error": f"not a JSON line: {error}"}
    else:
        answer = perform(request, hands)
    return json.dumps(answer).encode() + b"\n"


class HandsClient:
    """Hands at a box served by another process (`loomproof-sim serve --hands HOST:PORT`).

    Args:
        host: host where the hands are served.
        port: port there.
        timeout_s: longest wait for an answer.
    """

    def __init__(self, host: str, port: int, timeout_s: float = 5.0) -> None:
        self._socket = socket.create_connection((host, port), timeout=timeout_s)
        self._answers = self._socket.makefile("rb")

    def pull(self, place: Place) -> None:
        """Pull the connector of the load at a place."""
        self._ask({"do": "pull", "at": place})

    def seat(self, place: Place) -> None:
        """Plug the connector in again."""
        self._ask({"do": "seat", "at": place})

    def wiggle(self, place: Place, duration_s: float = 1.0, severity: float = 1.0) -> None:
        """Wiggle the loom at a place for a while."""
        self._ask({"do": "wiggle", "at": place, "duration_s": duration_s, "severity": severity})

    def supply(self, on: bool | float) -> None:
        """Switch the supply, or set its voltage."""
        self._ask({"do": "supply", "on": on})

    def stop_input(self, open_: bool) -> None:
        """Press (open) or release the stop button."""
        self._ask({"do": "stop_input", "open": open_})

    def noticed(self, place: Place, driven: Iterable[int]) -> bool:
        """Return whether a person at a place noticed anything when these channels were last driven."""
        return bool(self._ask({"do": "noticed", "at": place, "driven": list(driven)})["noticed"])

    def close(self) -> None:
        """Close the connection."""
        self._answers.close()
        self._socket.close()

    def _ask(self, request: dict[str, Any]) -> dict[str, Any]:
        self._socket.sendall(json.dumps(request).encode() + b"\n")
        line = self._answers.readline()
        if not line:
            raise ConnectionError("the simulated box closed the connection of the hands")
        answer: dict[str, Any] = json.loads(line)
        if not answer["ok"]:
            raise HandsError(answer["error"])
        return answer
