"""`loomproof check` as it is called."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from loomproof.cli.app import build_app
from loomproof.job.schema import job_schema

ROOT = Path(__file__).parents[2]
EXAMPLES = sorted((ROOT / "examples").glob("*.toml"))


def run(*arguments: str, columns: int = 100) -> tuple[int, str]:
    result = CliRunner().invoke(build_app(), ["check", *arguments], env={"COLUMNS": str(columns)})
    return result.exit_code, result.output


def the_jobs() -> list[Path]:
    return [path for path in EXAMPLES if "[[channels]]" in path.read_text(encoding="utf-8")]


@pytest.mark.parametrize("path", the_jobs(), ids=lambda path: path.stem)
def test_the_examples_are_sound(path: Path) -> None:
    code, output = run(str(path))
    assert code == 0
    assert "sound" in output
    assert "injector_high" in output or "stepper_idle" in output or "injector_low" in output


def test_there_are_examples_of_each_setting() -> None:
    settings = {
        line for path in the_jobs() for line in path.read_text().split("\n") if line.startswith("setting")
    }
    assert settings == {'setting = "vehicle"', 'setting = "bench"', 'setting = "classroom"'}


def test_problems_come_as_a_table_and_the_code_says_so(tmp_path: Path) -> None:
    text = (ROOT / "examples/inline-five-turbo.toml").read_text(encoding="utf-8")
    path = tmp_path / "bad.toml"
    path.write_text(
        text.replace('"valve_boost"', '"valve_bost"').replace("ambient_c = 18", "ambient_c = 291")
    )
    code, output = run(str(path), columns=200)
    assert code == 2
    assert "2 problems" in output
    row = next(line for line in output.split("\n") if "valve_bost`" in line)
    assert [cell.strip() for cell in row.split("│")] == [
        str(text[: text.index('"valve_boost"')].count("\n") + 1),
        "channel 11: load",
        "there is no load `valve_bost`",
        "did you mean `valve_boost`?",
    ]


def test_what_a_file_says_is_not_taken_for_markup(tmp_path: Path) -> None:
    text = (ROOT / "examples/inline-five-turbo.toml").read_text(encoding="utf-8")
    path = tmp_path / "odd.toml"
    path.write_text(text.replace('name = "injector 1"', 'name = "[red]one[/nothing]"'))
    code, output = run(str(path), columns=200)
    assert code == 0
    assert "[red]one[/nothing]" in output


def test_a_file_that_is_not_there() -> None:
    code, output = run("nowhere.toml")
    assert code == 2
    assert "No such file" in output


def test_no_file_at_all() -> None:
    code, output = run()
    assert code == 2
    assert "--schema" in output


def test_the_schema_is_printed() -> None:
    code, output = run("--schema")
    assert code == 0
    assert json.loads(output) == job_schema()


def test_the_schema_describes_every_key_of_a_channel() -> None:
    channel = job_schema()["$defs"]["Channel"]
    assert channel["additionalProperties"] is False
    assert set(channel["required"]) == {"channel", "name", "cavity", "load"}
