# SPDX-License-Identifier: GPL-3.0-or-later
"""`avr://JOBPATH?elf=FILE&clock=virtual` as a pyserial port; the other keys as for `sim://`."""

from pathlib import Path
from urllib.parse import parse_qsl, unquote, urlsplit

from serial import SerialException

from loomproof_cosim.boards import BOARDS
from loomproof_cosim.elf_box import build_elf_box
from loomproof_cosim.library import CosimError
from loomproof_sim.box import SimBox
from loomproof_sim.named_boxes import box_for
from loomproof_sim.scenario import ScenarioError, scenario_from_query
from loomproof_sim.urls.protocol_sim import Serial as SimSerial

OWN_KEYS = ("name", "elf", "board")


class Serial(SimSerial):
    """The real firmware in a simulated part, with the interface of a serial port; pyserial requires this class name."""

    @staticmethod
    def _find_box(url: str) -> SimBox:
        parts = urlsplit(url)
        query = parse_qsl(parts.query, keep_blank_values=True)
        own = {key: value for key, value in query if key in OWN_KEYS}
        rest = [(key, value) for key, value in query if key not in OWN_KEYS]
        if "elf" not in own or own.get("board", "") not in ("", *BOARDS):
            known = ", ".join(BOARDS)
            raise SerialException(f"{url}: give elf=FILE; board=, if at all, is one of {known}")
        board = BOARDS.get(own.get("board", ""))
        try:
            scenario = scenario_from_query(unquote(parts.netloc + parts.path), rest)
            return box_for(url, own.get("name"), lambda: build_elf_box(scenario, Path(own["elf"]), board))
        except (ScenarioError, CosimError) as error:
            raise SerialException(f"{url}: {error}") from error
