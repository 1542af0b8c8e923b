"""The report as one HTML file that needs no other file and prints on A4."""

from __future__ import annotations

from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined, Template

from loomproof.records.integrity import DOES_NOT_PROVE, PROVES
from loomproof.records.record import Record
from loomproof.records.report import words
from loomproof.records.report.view import build_view


@cache
def _template() -> Template:
    environment = Environment(
        loader=PackageLoader("loomproof.records.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["typeset"] = words.typeset
    return environment.get_template("report.html.j2")


def html(record: Record) -> str:
    """Return the report of a record as one HTML document without scripts or outside references.

    Every word from a person, a job or a box is escaped. The report of a simulated box says so on every page.
    """
    return _template().render(
        view=build_view(record),
        record=record,
        begun=record.begun,
        k=f"{words.COVERAGE_FACTOR:g}",
        chain_proves=PROVES,
        chain_does_not=DOES_NOT_PROVE,
    )
