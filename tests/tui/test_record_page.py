"""The command that the record page shows finds the record again."""

import pytest

from loomproof.records.database import ENVIRONMENT_VARIABLE, store_url
from loomproof.tui.pages.record.page import head_text
from loomproof.tui.pages.record.view import RecordView


@pytest.fixture(autouse=True)
def usual_place(monkeypatch, tmp_path):
    monkeypatch.setenv(ENVIRONMENT_VARIABLE, str(tmp_path / "usual.sqlite"))


def test_a_record_in_the_usual_place_needs_no_store():
    text = head_text(RecordView(store_url(None), "2026-1"))
    assert text.splitlines()[1].endswith("loomproof report 2026-1 --html report.html")
    assert "sqlite:" not in text


def test_one_kept_elsewhere_names_its_store(tmp_path):
    place = tmp_path / "a folder" / "other.sqlite"
    assert head_text(RecordView(store_url(place), "2026-1")).endswith(f"--store '{place}'")


def test_without_a_record_it_says_so():
    assert head_text(RecordView()) == "No record is kept of this run."
