"""Writes what follows from the job's code: the JSON Schema, the catalogue's table and the firmware's load traits.

`python -m loomproof.job.publish` from the top of a checkout writes them; with `--check` it writes nothing and
says whether they are stale.
"""

import argparse
import sys
from pathlib import Path

from loomproof.job.catalogue import CATALOGUE
from loomproof.job.load_type import LoadType
from loomproof.job.quantity import Quantity
from loomproof.job.schema import job_schema_text
from loomproof.job.traits_header import traits_header

BEGIN = "<!-- catalogue: written by python -m loomproof.job.publish -->\n"
END = "<!-- end of catalogue -->\n"
HEADINGS = ("load", "what it is", "hazard", "Ω", "mH", "pulses", "longest", "duty", "trip A", "sense µs")


def catalogue_table() -> str:
    """Return the catalogue as a Markdown table."""
    rows = [HEADINGS, ("---",) * len(HEADINGS), *(_row(load) for load in CATALOGUE.values())]
    return "".join(f"| {' | '.join(row)} |\n" for row in rows)


def _row(load: LoadType) -> tuple[str, ...]:
    limits, train = load.limits, load.train
    return (
        f"`{load.key}`",
        load.name,
        str(load.hazard),
        _value(load.resistance_ohm),
        _value(load.inductance_mh),
        f"{train.count} × {train.on_time_ms:g} ms at {train.frequency_hz:g} Hz",
        f"{limits.max_on_time_ms:g} ms",
        f"{limits.max_duty:g}",
        f"{limits.max_current_a:g}",
        str(limits.max_sense_us),
    )


def _value(value: Quantity | None) -> str:
    return "" if value is None else f"{value.value:g} ± {value.tolerance_percent:g} %"


def published(root: Path) -> dict[Path, str]:
    """Return what each published file below the root of a checkout should hold.

    Raises:
        ValueError: The guide has lost the marks between which the table stands.
    """
    guide = root / "docs" / "job-file.md"
    before, begin, rest = guide.read_text(encoding="utf-8").partition(BEGIN)
    _, end, after = rest.partition(END)
    if not begin or not end:
        raise ValueError(f"{guide}: the catalogue's marks are missing")
    return {
        root / "docs" / "job.schema.json": job_schema_text(),
        root / "firmware" / "core" / "load_traits_gen.h": traits_header(),
        guide: before + begin + "\n" + catalogue_table() + "\n" + end + after,
    }


def stale(root: Path) -> list[Path]:
    """Return the published files that are missing or differ from the code."""
    return [path for path, text in published(root).items() if not _holds(path, text)]


def _holds(path: Path, text: str) -> bool:
    return path.is_file() and path.read_text(encoding="utf-8") == text


def main() -> int:
    """Write or check the published files; 1 if a check finds a stale one."""
    parser = argparse.ArgumentParser(prog="python -m loomproof.job.publish", description=__doc__)
    parser.add_argument("--check", action="store_true", help="write nothing; 1 if a file is stale")
    parser.add_argument("--root", type=Path, default=Path(), help="the top of the checkout")
    asked = parser.parse_args()
    if not asked.check:
        for path, text in published(asked.root).items():
            path.write_text(text, encoding="utf-8")
    found = stale(asked.root)
    for path in found:
        sys.stderr.write(f"{path} is stale: run python -m loomproof.job.publish\n")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
