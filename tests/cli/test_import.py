"""`loomproof import` as it is called."""

import pytest
from typer.testing import CliRunner

from loomproof.cli.app import build_app
from loomproof.job.file.loading import load_job

PINS = "Pin;Function;Colour\n1;Injector 1, high resistance;GN\n2;Injector 2, high resistance;YE\n3;CAN H;\n"


def run(*arguments: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(build_app(), ["import", *arguments], env={"COLUMNS": "160"})
    return result.exit_code, result.output, result.stderr


@pytest.fixture
def pins(tmp_path):
    path = tmp_path / "rig 7.csv"
    path.write_text(PINS, encoding="utf-8")
    return path


def test_a_sound_table_becomes_a_sound_job(pins, tmp_path):
    out = tmp_path / "job.toml"
    code, output, _ = run(str(pins), "--out", str(out), "--template", "inline-four", "--job-number", "R-7")
    assert code == 0, output
    job = load_job(out)
    assert (job.identity.title, job.identity.job_number, job.engine.cylinders) == ("rig 7", "R-7", 4)
    assert [channel.load for channel in job.channels] == ["injector_high", "injector_high"]
    rows = [[cell.strip() for cell in line.split("│")] for line in output.split("\n")]
    assert ["wire", "C `Colour`", "`Colour` is a word for it; 2 of 2 cells look like it"] in rows
    assert ["4", "a data line (`can h`)", "3 | CAN H"] in rows
    assert "2 outputs, sound" in output


def test_what_is_to_settle_makes_the_code_two_and_the_file_is_written_all_the_same(pins, tmp_path):
    pins.write_text(PINS.replace(", high resistance", ""), encoding="utf-8")
    out = tmp_path / "job.toml"
    code, output, _ = run(str(pins), "--out", str(out))
    assert code == 2
    assert "not sound yet" in output
    assert out.exists()
    settled = tmp_path / "settled.toml"
    code, _, _ = run(str(pins), "--out", str(settled), "--load", "injector=injector_low")
    assert code == 0
    assert {channel.load for channel in load_job(settled).channels} == {"injector_low"}


def test_an_existing_file_is_left_alone(pins, tmp_path):
    out = tmp_path / "job.toml"
    out.write_text("mine", encoding="utf-8")
    code, _, errors = run(str(pins), "--out", str(out))
    assert code == 2
    assert "is there already and is not overwritten" in errors
    assert out.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--column", "cavity"], "write FACT=COLUMN"),
        (["--column", "pin=Pin"], "where FACT is one of cavity, connector"),
        (["--column", "cavity=Kammer"], "there is no column `Kammer`; the columns are A `Pin`"),
        (["--load", "injector=injector_hihg"], "did you mean `injector_high`?"),
        (["--load", "injector"], "write WORDS=TYPE"),
        (["--template", "inline-for"], "did you mean `inline-four`?"),
        (["--header-row", "99"], "there is no row 99"),
        (["--sheet", "Pins"], "no sheet `Pins`"),
    ],
)
def test_a_wrong_call_is_told_and_writes_nothing(pins, tmp_path, arguments, told):
    out = tmp_path / "job.toml"
    code, _, errors = run(str(pins), "--out", str(out), *arguments)
    assert code == 2
    assert told in errors
    assert not out.exists()


def test_a_file_that_is_not_there_and_one_without_outputs(pins, tmp_path):
    out = tmp_path / "job.toml"
    assert "No such file" in run(str(tmp_path / "none.csv"), "--out", str(out))[2]
    pins.write_text("Pin;Function\n1;CAN H\n2;Ground\n", encoding="utf-8")
    code, output, errors = run(str(pins), "--out", str(out))
    assert code == 2
    assert "a ground" in output
    assert "no row of the table is an output" in errors
    assert not out.exists()


def test_templates_are_listed():
    code, output, _ = run("--template", "list")
    assert code == 0
    assert "vee-six-wasted" in output
