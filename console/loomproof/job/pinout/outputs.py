"""From a table to a draft: one line for each output, and every other row with the reason why it is none."""

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import TypeVar

from loomproof.facts.kinds import HazardClass
from loomproof.job.catalogue import CATALOGUE
from loomproof.job.load_traits import LOAD_TRAITS
from loomproof.job.model import OUTPUTS
from loomproof.job.pinout.colours import is_german, read_colour
from loomproof.job.pinout.columns import Choices, ColumnFact, Matching, match_columns
from loomproof.job.pinout.draft import Notes, PinoutDraft, PinoutOutput
from loomproof.job.pinout.loads import LoadReading, not_an_output, read_hazard, read_load
from loomproof.job.pinout.sheet import PinoutError, Remark, Sheet, SheetRow, Weight
from loomproof.job.pinout.values import (
    DEFAULT_CONNECTOR,
    NAME,
    Read,
    read_cavity,
    read_channel,
    read_length,
    read_section,
    read_yes_no,
    slug,
)
from loomproof.job.pinout.words import plain
from loomproof.job.refused_circuits import RefusedCircuit, refused_circuit

T = TypeVar("T")
CONNECTOR_HEADING = re.compile(
    r"^(?:connector|plug|header|conn|stecker|connecteur|conector|connettore|stekker)\b[\s.:#]*(.*)$", re.I
)


def draft_pinout(sheet: Sheet, choices: Choices | None = None) -> PinoutDraft:
    """Return what a table says of a loom's outputs.

    Raises:
        PinoutError: No column holds the cavities, or a choice names what the table has not.
    """
    choices = choices or Choices()
    matching = match_columns(sheet, choices)
    if matching.column(ColumnFact.CAVITY) is None:
        listed = ", ".join(column.label for column in matching.columns if column.cells)
        raise PinoutError(
            "no column looks like the cavities of a connector",
            f"say which it is with --column cavity=HEADING; the columns are {listed}",
        )
    return _Reader(sheet, matching, choices).read()


class _Reader:
    def __init__(self, sheet: Sheet, matching: Matching, choices: Choices) -> None:
        self._sheet = sheet
        self._matching = matching
        self._choices = choices
        self._notes = Notes(list(sheet.remarks))
        self._connector = ""
        wire = matching.column(ColumnFact.WIRE)
        self._german = wire is not None and is_german(wire.cells)

    def read(self) -> PinoutDraft:
        lines = _numbered(list(self._lines()))
        kept = []
        for line in lines:
            if line.channel:
                kept.append(line)
                continue
            text = f"{line.connector}-{line.cavity} {line.name}"
            self._notes.leave(line.row, text, f"the box has {OUTPUTS} outputs and all are taken")
            self._notes.settle(
                line.row,
                ColumnFact.CHANNEL,
                f"`{line.name}` finds no free output",
                "split the job over two boxes",
            )
        if not kept:
            self._notes.remarks.append(
                Remark(
                    Weight.SETTLE,
                    None,
                    "",
                    "no row is an output",
                    "look at the columns and the rows left out",
                )
            )
        left_out = tuple(self._notes.left_out)
        return PinoutDraft(self._sheet, self._matching, tuple(kept), left_out, self._notes.in_order())

    def _lines(self) -> Iterator[PinoutOutput]:
        header = self._matching.header_row
        heading = next((row.cells for row in self._sheet.rows if row.number == header), None)
        for row in self._sheet.rows:
            if row.blank or row.number == header:
                continue
            text = " | ".join(cell for cell in row.cells if cell)
            if header is not None and row.number < header:
                self._notes.leave(row.number, text, "above the headings")
            elif heading is not None and row.cells == heading:
                self._notes.leave(row.number, text, "the headings again")
            elif self._is_heading(row):
                self._notes.leave(row.number, text, f"names connector {self._connector} for the rows below")
            else:
                line = self._line(row, text)
                if line is not None:
                    yield line

    def _is_heading(self, row: SheetRow) -> bool:
        """Take a row with nothing but a connector's name as said of the rows below it."""
        cells = [cell for cell in row.cells if cell]
        found = CONNECTOR_HEADING.match(cells[0]) if len(cells) == 1 else None
        if found is None:
            return False
        self._connector = _connector_id(found[1] or cells[0])
        return True

    def _cell(self, row: SheetRow, fact: ColumnFact) -> str:
        column = self._matching.column(fact)
        return row.cell(None if column is None else column.index)

    def _line(self, row: SheetRow, text: str) -> PinoutOutput | None:
        load_cell, name_cell = self._cell(row, ColumnFact.LOAD), self._cell(row, ColumnFact.NAME)
        said = self._choices.row_loads.get(row.number)
        reading = read_load(load_cell, name_cell, self._choices.loads)
        refused = self._refused(row, reading)
        if refused is not None:
            self._leave_refused(row, text, refused)
            return None
        reason = None if said else not_an_output(load_cell, name_cell)
        if reason is not None:
            self._notes.leave(row.number, text, reason)
            return None
        place = self._place(row, text)
        if place is None:
            return None
        load = LoadReading(said, "you said so", stated=True) if said else reading
        if (
            not any(self._cell(row, fact) for fact in (ColumnFact.LOAD, ColumnFact.NAME, ColumnFact.LOCATION))
            and not said
        ):
            self._notes.leave(row.number, text, "not used (nothing but a cavity)")
            return None
        name = name_cell or self._cell(row, ColumnFact.LOCATION) or load_cell
        line = PinoutOutput(
            row.number,
            *place[0],
            name[:200],
            load,
            location=self._cell(row, ColumnFact.LOCATION) or name,
            notes=place[1],
        )
        self._say_load(line)
        return self._hazards(row, self._wiring(row, self._flags(row, line)))

    def _refused(self, row: SheetRow, load: LoadReading) -> RefusedCircuit | None:
        """Return why a row must never be a channel, whatever a person says its load is."""
        may_be = (load.key,) if load.key else load.candidates
        sparks = bool(may_be) and all(LOAD_TRAITS[CATALOGUE[key].kind].sparks for key in may_be)
        return refused_circuit(self._connector, *row.cells, sparks=sparks)

    def _leave_refused(self, row: SheetRow, text: str, refused: RefusedCircuit) -> None:
        self._notes.leave(row.number, text, f"never a channel of this box: {refused.reason}")
        self._notes.look(row.number, ColumnFact.NAME, refused.reason, refused.remedy)

    def _place(self, row: SheetRow, text: str) -> tuple[tuple[str, int], tuple[str, ...]] | None:
        named = self._cell(row, ColumnFact.CONNECTOR)
        cell = self._cell(row, ColumnFact.CAVITY)
        connector = _connector_id(named) if named else self._connector
        read = read_cavity(cell, connector)
        if read.value is None:
            reason = read.reason if cell else "the row names no cavity"
            self._notes.leave(row.number, text, reason)
            self._notes.settle(
                row.number,
                ColumnFact.CAVITY,
                reason,
                read.remedy if cell else "write its cavity, or take the row out",
            )
            return None
        return read.value, (read.note,) if read.note else ()

    def _say_load(self, line: PinoutOutput) -> None:
        load = line.load
        if load.key is None:
            may_be = ", ".join(load.candidates) or "any type of the catalogue, or one of your own"
            remedy = f"say which it is: {may_be}"
            self._notes.settle(line.row, ColumnFact.LOAD, load.why, remedy)
        elif not load.stated:
            self._notes.look(
                line.row, ColumnFact.LOAD, f"read as {load.key}: {load.why}", "look whether it is that"
            )

    def _flags(self, row: SheetRow, line: PinoutOutput) -> PinoutOutput:
        fitted = self._value(row, ColumnFact.FITTED, read_yes_no)
        channel = self._value(row, ColumnFact.CHANNEL, read_channel)
        return replace(
            line,
            fitted=True if fitted is None else fitted,
            channel=channel or 0,
            feed=self._cell(row, ColumnFact.FEED),
            group=self._cell(row, ColumnFact.GROUP),
        )

    def _value(self, row: SheetRow, fact: ColumnFact, read: Callable[[str], Read[T]]) -> T | None:
        """Return what a cell says; None with a remark where it says what cannot be read."""
        cell = self._cell(row, fact)
        if not cell:
            return None
        found = read(cell)
        if found.value is None:
            self._notes.settle(row.number, fact, found.reason, found.remedy)
        return found.value

    def _wiring(self, row: SheetRow, line: PinoutOutput) -> PinoutOutput:
        notes = list(line.notes)

        def colour(text: str) -> Read[str]:
            found = read_colour(text, german=self._german)
            notes.extend([found.note] if found.note else [])
            return Read(found.code, "", found.reason, found.remedy)

        def noted(found: Read[float]) -> Read[float]:
            notes.extend([found.note] if found.note else [])
            return found

        return replace(
            line,
            wire=self._value(row, ColumnFact.WIRE, colour),
            section_mm2=self._value(
                row,
                ColumnFact.SECTION,
                lambda text: noted(read_section(text, self._heading(ColumnFact.SECTION))),
            ),
            length_m=self._value(
                row,
                ColumnFact.LENGTH,
                lambda text: noted(read_length(text, self._heading(ColumnFact.LENGTH))),
            ),
            notes=tuple(notes),
        )

    def _heading(self, fact: ColumnFact) -> str:
        column = self._matching.column(fact)
        return "" if column is None else column.heading

    def _hazards(self, row: SheetRow, line: PinoutOutput) -> PinoutOutput:
        """Take the strictest hazard the words allow, unless the table states one."""
        stated = self._value(row, ColumnFact.HAZARD, _hazard)
        pump = self._value(row, ColumnFact.FUEL_PUMP, read_yes_no)
        if line.load.key is None:
            return replace(line, hazard=stated or HazardClass.NONE, fuel_pump=bool(pump))
        text = " ".join(
            self._cell(row, fact) for fact in (ColumnFact.LOAD, ColumnFact.NAME, ColumnFact.LOCATION)
        )
        read = read_hazard(line.load.key, text)
        base = CATALOGUE[line.load.key]
        if stated is not None and base.hazard not in (HazardClass.NONE, stated):
            reason = f"the table says hazard {stated}, but `{base.key}` is a {base.hazard} hazard"
            self._notes.look(
                row.number, ColumnFact.HAZARD, reason, "a load type's own hazard is never taken away"
            )
        own = base.hazard is HazardClass.NONE
        hazard = (read.hazard if stated is None else stated) if own else HazardClass.NONE
        runs_pump = base.fuel_pump or (read.fuel_pump if pump is None else pump)
        guessed = (stated is None and hazard is not HazardClass.NONE) or (
            pump is None and runs_pump and not base.fuel_pump
        )
        if guessed:
            said = [f"hazard {hazard}"] if hazard is not HazardClass.NONE else []
            said += ["fuel_pump = true"] if runs_pump and not base.fuel_pump else []
            reason = f"the strictest reading: {' and '.join(said)} ({read.why})"
            self._notes.look(
                row.number, ColumnFact.HAZARD, reason, "take it away only if you know that it is not so"
            )
        return replace(line, hazard=hazard, fuel_pump=runs_pump)


def _hazard(text: str) -> Read[HazardClass]:
    for hazard in HazardClass:
        if plain(text) == hazard.value:
            return Read(hazard)
    classes = ", ".join(hazard.value for hazard in HazardClass)
    return Read(None, "", f"`{text}` is no hazard class", f"write one of {classes}, or leave it empty")


def _connector_id(text: str) -> str:
    return text if NAME.match(text) else slug(text, DEFAULT_CONNECTOR)


def _numbered(lines: list[PinoutOutput]) -> Iterator[PinoutOutput]:
    """Give each line without an output of its own the next free one; 0: none is left."""
    taken = {line.channel for line in lines}
    free = (number for number in range(1, OUTPUTS + 1) if number not in taken)
    for line in lines:
        yield line if line.channel else replace(line, channel=next(free, 0))
