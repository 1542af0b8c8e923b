"""`loomproof records` and `loomproof report` as a person or a script meets them."""

from __future__ import annotations

import json
import sqlite3

import pytest
import typer
from typer.testing import CliRunner

from loomproof.cli import exit_codes, report
from loomproof.cli.app import build_app
from loomproof.cli.records import command
from loomproof.facts.record import EventKind, EventNoted


@pytest.fixture
def app():
    application = typer.Typer()
    command.register(application)
    report.register(application)
    return application


@pytest.fixture
def run(app, store_path, monkeypatch):
    monkeypatch.setenv("COLUMNS", "200")
    runner = CliRunner()
    return lambda *words: runner.invoke(app, [*words, "--store", str(store_path)], catch_exceptions=False)


@pytest.fixture
def written(store, make):
    recorder = store.recorder()
    make.begin(recorder, box=make.box(simulated=True))
    recorder.step_began(make.step("drive-1", 1, 1))
    recorder.step_ended(make.outcome("drive-1", skipped_reason="no \x1b[31mtime"), [make.counts()])
    recorder.event(EventNoted(EventKind.STOP, "The operator pressed stop.", 1.0))
    recorder.findings(make.verdicts(), [make.finding()])
    recorder.finish("fail")
    return recorder.record_id


def test_the_list(run, written):
    for words in (("records",), ("records", "list")):
        result = run(*words)
        assert result.exit_code == 0
        assert written in result.stdout
        assert "✗ fail" in result.stdout
        assert "SIMULATED" in result.stdout


def test_an_empty_store(run, store):
    assert "No record yet." in run("records").stdout


def test_a_store_that_is_not_there(app, tmp_path):
    result = CliRunner().invoke(app, ["records", "list", "--store", str(tmp_path / "none.sqlite3")])
    assert result.exit_code == exit_codes.BAD_CALL
    assert "There is no record store at" in result.stderr
    assert not (tmp_path / "none.sqlite3").exists()


def test_the_environment_names_the_store(app, store_path, written, monkeypatch):
    monkeypatch.setenv("LOOMPROOF_RECORDS", str(store_path))
    assert written in CliRunner().invoke(app, ["records"]).stdout


def test_showing_a_record(run, written):
    result = run("records", "show", "last")
    assert result.exit_code == 0
    for needed in (
        "SIMULATED BOX",
        "Engine loom of the launch Kestrel",
        "✗ fail",
        "· not tested",
        "The wire from H1-12 to place 2 is open.",
        "The operator pressed stop.",
        "The chain of 6 entries holds.",
        "It does not prove who wrote the record",
    ):
        assert needed in result.stdout
    assert "\x1b" not in result.stdout


def test_an_altered_record_has_its_own_exit_code(run, store_path, written):
    raw = sqlite3.connect(store_path)
    raw.execute("DROP TRIGGER entry_no_update")
    raw.execute("UPDATE entry SET body=replace(body,'pressed','released')")
    raw.commit()
    raw.close()
    result = run("records", "show", written)
    assert result.exit_code == exit_codes.BROKEN_CHAIN
    assert "entry 4 (event) was changed after it was written" in result.stdout


def test_an_unknown_record(run, written):
    result = run("records", "show", "1999")
    assert result.exit_code == exit_codes.BAD_CALL
    assert "There is no record '1999'" in result.stderr


def test_a_report_is_written_once_and_replaced_only_on_demand(run, written, tmp_path):
    path = tmp_path / "report.html"
    result = run("report", written[:-2], "--html", str(path))
    assert result.exit_code == 0
    first = path.read_text()
    assert first.startswith("<!DOCTYPE html>")
    path.write_text("mine")
    again = run("report", written, "--html", str(path))
    assert again.exit_code == exit_codes.BAD_CALL
    assert "is there already" in again.stderr
    assert path.read_text() == "mine"
    assert run("report", written, "--html", str(path), "--replace").exit_code == 0
    assert path.read_text() == first


def test_a_report_to_nowhere(run, written, tmp_path):
    result = run("report", written, "--html", str(tmp_path / "no" / "r.html"))
    assert result.exit_code == exit_codes.BAD_CALL
    assert "cannot be written: No such file or directory" in result.stderr


def test_the_export_goes_to_the_terminal_or_a_file(run, written, tmp_path):
    document = json.loads(run("records", "export", written, "--out", "-").stdout)
    assert document["record_id"] == written
    assert run("records", "export", written, "--out", str(tmp_path / "r.json")).exit_code == 0
    assert json.loads((tmp_path / "r.json").read_text()) == document


def test_the_commands_are_on_the_main_application():

    result = CliRunner().invoke(build_app(), ["records", "--help"])
    assert result.exit_code == 0
    assert "export" in result.stdout
