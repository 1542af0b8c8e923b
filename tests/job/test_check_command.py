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


def rows_of(output: str, first: str) -> list[list[str]]:
    """Cells of the table whose first heading is that."""
    lines = output.split("\n")
    begin = next(i for i, line in enumerate(lines) if line.split("┃")[0].strip() == first)
    rows = []
    for line in lines[begin + 2 :]:
        if "│" not in line:
            break
        rows.append([cell.strip() for cell in line.split("│")])
    return rows


def test_everything_a_file_says_is_shown() -> None:
    code, output = run(str(ROOT / "examples/classroom-vee-six.toml"), columns=200)
    assert code == 0
    engine = "engine of 6 cylinders, vee, 60° between the banks, fires 1-4-2-5-3-6, a coil for each cylinder, 2870 cm³"
    assert engine in output
    assert ["F3", "Valves and lamps", "15", "7.5", "H2-8", "RDYE", "0.015"] in rows_of(output, "Feed")
    assert ["motor_throttle", "throttle motor", "1.5", "1", "0.8", "10", ""] in rows_of(output, "Load")
    assert ["cylinder 4 injector", "4", "right", "rail, right bank"] in rows_of(output, "Location")


def test_companions_an_uneven_engine_and_a_pump_are_shown(tmp_path: Path) -> None:
    code, output = run(str(ROOT / "examples/boat-four-wasted-spark.toml"), columns=200)
    assert code == 0
    assert "wasted spark" in output
    assert any(row[1] == "2/3" for row in rows_of(output, "Location"))
    assert any(row[0] == "fuel_pump_relay" and row[-1] == "yes" for row in rows_of(output, "Load"))
    text = (ROOT / "examples/inline-five-turbo.toml").read_text(encoding="utf-8")
    uneven = text.replace("[engine]", "[engine]\nintervals_deg = [140, 148, 144, 144, 144]")
    (tmp_path / "uneven.toml").write_text(uneven, encoding="utf-8")
    assert "unevenly, after 140, 148, 144, 144, 144°" in run(str(tmp_path / "uneven.toml"), columns=200)[1]


def test_what_a_job_does_not_have_has_no_table(tmp_path: Path) -> None:
    guide = (ROOT / "docs/job-file.md").read_text(encoding="utf-8")
    smallest = guide.partition("```toml\n")[2].partition("```")[0]
    (tmp_path / "one.toml").write_text(smallest, encoding="utf-8")
    code, output = run(str(tmp_path / "one.toml"))
    assert code == 0
    assert "engine" not in output
    assert "Fuse A" not in output
    assert rows_of(output, "Load")[0][0] == "relay_diode"


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
