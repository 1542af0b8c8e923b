"""The simulated boxes of this process that were opened by name."""

import threading
from collections.abc import Callable

from loomproof_sim.box import SimBox

sim_boxes: dict[str, SimBox] = {}
"""Boxes opened with `name=`; they keep their state while their port is closed."""
_urls: dict[str, str] = {}
_lock = threading.Lock()


def find(name: str) -> SimBox:
    """Return the box opened under a name.

    Raises:
        KeyError: no port with this `name=` was opened yet.
    """
    with _lock:
        if name not in sim_boxes:
            known = ", ".join(sorted(sim_boxes)) or "none"
            raise KeyError(f"no simulated box named {name!r} was opened (opened: {known})")
        return sim_boxes[name]


def forget(name: str) -> None:
    """Switch a named box off for good; the next port with its name gets a new box."""
    with _lock:
        sim_boxes.pop(name, None)
        _urls.pop(name, None)


def box_for(url: str, name: str | None, make: Callable[[], SimBox]) -> SimBox:
    """Return the box of a URL: the same box for a name opened before with this URL, otherwise a new one."""
    if name is None:
        return make()
    with _lock:
        if _urls.get(name) != url:
            sim_boxes[name] = make()
            _urls[name] = url
        return sim_boxes[name]
