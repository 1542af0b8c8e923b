"""The form of the C sources: a licence line in each, and one style."""

import subprocess
import sys
from pathlib import Path

import pytest
from hostbox import ROOT

SUFFIXES = {".c", ".h", ".S", ".ld"}
SOURCES = sorted(
    path
    for room in ("firmware", "tests/firmware")
    for path in (ROOT / room).rglob("*")
    if path.suffix in SUFFIXES
)
SHIM = ROOT / "firmware/cosim"
"""A work based on libsimavr, which is under the GPL; see its LICENSE.md."""
CLANG_FORMAT = Path(sys.executable).with_name("clang-format")


def name(path: Path) -> str:
    return str(path.relative_to(ROOT))


def test_the_sources_are_found():
    assert {path.suffix for path in SOURCES} >= {".c", ".h", ".S"}
    assert len(SOURCES) > 70


@pytest.mark.parametrize("path", SOURCES, ids=name)
def test_each_source_names_its_licence_once_on_its_first_line(path):
    text = path.read_text()
    licence = "GPL-3.0-or-later" if SHIM in path.parents else "MIT"
    assert text.startswith(f"/* SPDX-License-Identifier: {licence} */\n")
    assert text.count("SPDX-License-Identifier") == 1


def clang_format(*sources: Path) -> subprocess.CompletedProcess[str]:
    style = f"--style=file:{ROOT / '.clang-format'}"
    command = [CLANG_FORMAT, style, "--dry-run", "--Werror", *sources]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_the_sources_have_one_style():
    checked = clang_format(*(path for path in SOURCES if path.suffix in {".c", ".h"}))
    assert checked.returncode == 0, checked.stderr


FORMATTED = "int f(int x)\n{\n    if (x) {\n        return 0xFFU;\n    }\n    return x;\n}\n"


@pytest.mark.parametrize(
    ("sound", "other"),
    [(")\n{", ") {"), ("if (x) {", "if (x)\n    {"), ("FFU", "FFu"), ("        return", "\treturn")],
    ids=["brace of a function", "brace of a block", "suffix", "indent"],
)
def test_another_style_is_seen(tmp_path, sound, other):
    source = tmp_path / "one.c"
    source.write_text(FORMATTED)
    assert clang_format(source).returncode == 0
    source.write_text(FORMATTED.replace(sound, other))
    assert clang_format(source).returncode == 1


def test_a_block_without_braces_is_seen(tmp_path):
    source = tmp_path / "one.c"
    source.write_text("int f(int x)\n{\n    if (x)\n        return 0;\n    return x;\n}\n")
    assert clang_format(source).returncode == 1
