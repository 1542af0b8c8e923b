"""Settings survive, a spoiled file is put aside, a folder that cannot be written costs only the memory."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomproof.tui.settings import (
    RECENT_BOXES,
    RECENT_JOBS,
    RecentJob,
    Settings,
    SettingsKeeper,
    settings_from,
)

TEXT = st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), max_size=12)
JOBS = st.builds(RecentJob, path=TEXT, title=TEXT, box=TEXT)
SETTINGS = st.builds(
    Settings, theme=TEXT, large_text=st.booleans(), sounds=st.booleans(), who=TEXT,
    jobs=st.lists(JOBS, max_size=RECENT_JOBS).map(tuple), boxes=st.lists(TEXT, max_size=RECENT_BOXES).map(tuple),
)  # fmt: skip


@given(settings=SETTINGS)
def test_what_is_kept_comes_back(tmp_path_factory, settings):
    path = tmp_path_factory.mktemp("settings") / "deep" / "settings.toml"
    SettingsKeeper(path).keep(settings)
    assert SettingsKeeper(path).now == settings


def test_a_job_opened_again_moves_to_the_front_and_the_list_stays_short():
    settings = Settings()
    for n in range(RECENT_JOBS + 3):
        settings = settings.remembering(RecentJob(f"/j{n}.toml", box=f"COM{n}"))
    settings = settings.remembering(RecentJob("/j5.toml", box="COM5"))
    assert [job.path for job in settings.jobs][:2] == ["/j5.toml", f"/j{RECENT_JOBS + 2}.toml"]
    assert len(settings.jobs) == RECENT_JOBS
    assert len(settings.boxes) == RECENT_BOXES
    assert len({job.path for job in settings.jobs}) == RECENT_JOBS


def test_a_spoiled_file_is_kept_aside_and_told(tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text("theme = [unfinished")
    keeper = SettingsKeeper(path)
    assert keeper.now == Settings()
    assert "settings.unreadable" in keeper.problem
    assert (tmp_path / "settings.unreadable").read_text() == "theme = [unfinished"


def test_unknown_and_wrong_entries_are_left_out():
    read = settings_from(
        {
            "theme": 4,
            "sounds": False,
            "colour": "x",
            "jobs": [{"path": 3}, "x", {"path": "/a"}],
            "boxes": [1, "b"],
        }
    )
    assert read == Settings(sounds=False, jobs=(RecentJob("/a"),), boxes=("b",))


def test_a_folder_that_cannot_be_made_is_told_and_nothing_else_is_lost(tmp_path):
    blocker = tmp_path / "file"
    blocker.write_text("")
    keeper = SettingsKeeper(blocker / "settings.toml")
    keeper.change(theme="stark")
    assert keeper.now.theme == "stark"
    assert "could not be kept" in keeper.problem


def test_a_setting_that_does_not_exist_is_an_error():
    with pytest.raises(TypeError):
        SettingsKeeper().change(colour="red")
