"""Making a job on its page: cells, form, text, list, undo, save, drafts, leaving; and reading a pin-out."""

import pytest
from textual.widgets import Input, TextArea

from loomproof.job.file.loading import load_job, parse_job
from loomproof.tui.app import Console
from loomproof.tui.pages.frame import Deck
from loomproof.tui.pages.job.dialogs import AskDraft, AskUnsaved, ChooseOne
from loomproof.tui.pages.job.job_file import JobFile
from loomproof.tui.pages.job.page import JobPage
from loomproof.tui.pages.job.pinout import PinoutScreen
from loomproof.tui.widgets.grid import CellGrid
from loomproof.tui.widgets.row_list import RowList

SIZES = [(80, 24), (120, 36)]
JOB = """\
# made by hand
schema_version = 1
setting = "bench"

[identity]
title = "Rig 7"
job_number = "R-7"

[[connectors]]
id = "H1"
name = "header"
cavities = 12

[[locations]]
id = "k1"
name = "relay K1"

[[channels]]
channel = 1 # upper row
name = "relay K1"
cavity = "H1-3"
load = "relay_diode"
location = "k1"

[[channels]]
channel = 2
name = "purge valve"
cavity = "H1-4"
load = "valve_purge"
"""
PINS = "Rig 7;;\nPin;Function;Colour\n1;Injector cyl. 1;GN\n2;Injector cyl. 2;YE\n3;Fan relay;BL\n4;Sensor ground;BN\n"


class NoStarter:
    """Chooses nothing: these tests never open a box."""

    def ports(self):
        return ()


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "rig.toml").write_text(JOB, encoding="utf-8")
    (tmp_path / "pins.csv").write_text(PINS, encoding="utf-8")
    return tmp_path


def editor(path=None) -> Console:
    return Console(starter=NoStarter(), making=True, job_path=path)


async def settle(pilot):
    for _ in range(3):
        await pilot.pause()


async def write(pilot, text):
    """Write a cell anew."""
    await pilot.press("enter")
    pilot.app.screen.focused.value = text
    await pilot.press("enter")
    await settle(pilot)


def text_of(app) -> str:
    return app.making_page.document.text


async def test_a_cell_is_written_in_place_and_the_rest_stays(folder):
    app = editor(folder / "rig.toml")
    async with app.run_test(size=SIZES[0]) as pilot:
        await settle(pilot)
        await pilot.press("right", "right")
        await write(pilot, "H1-5")
        assert text_of(app) == JOB.replace("H1-3", "H1-5")
        await pilot.press("ctrl+s")
        await settle(pilot)
    assert (folder / "rig.toml").read_text(encoding="utf-8") == JOB.replace("H1-3", "H1-5")
    assert not (folder / "rig.toml.unsaved").exists()


async def test_escape_leaves_the_cell_and_tab_takes_it_and_goes_on(folder):
    app = editor(folder / "rig.toml")
    async with app.run_test() as pilot:
        await settle(pilot)
        await pilot.press("right", "enter", "x", "escape")
        await settle(pilot)
        assert text_of(app) == JOB
        await pilot.press("enter", "x", "tab")
        await settle(pilot)
        grid = app.screen.query_one("#making-grid", CellGrid)
        assert 'name = "relay K1x"' in text_of(app)
        assert grid.column_key == "cavity"
        await pilot.press("delete")
        await settle(pilot)
        assert 'cavity = "H1-3"' not in text_of(app)


async def test_what_is_wrong_is_listed_at_once_and_jumped_to(folder):
    app = editor(folder / "rig.toml")
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("down", "right", "right", "right", "right")
        await write(pilot, "valve_prge")
        problems = app.screen.query_one("#making-problems", RowList)
        (problem,) = app.making_page.document.problems
        assert problem.reason == "there is no load `valve_prge`"
        grid = app.screen.query_one("#making-grid", CellGrid)
        grid.row = grid.column = 0
        await pilot.press("v", "v")
        assert problems.has_focus
        await pilot.press("enter")
        await settle(pilot)
        assert (grid.row, grid.column_key, grid.has_focus) == (1, "load", True)
        assert grid.rows[1].cells[0] == "✗ 2"
        assert grid.rows[1].cells[4] == "✗valve_prge"


async def test_a_problem_outside_the_table_is_jumped_to_in_the_text(folder):
    (folder / "rig.toml").write_text(JOB.replace("cavities = 12", "cavities = -1"), encoding="utf-8")
    app = editor(folder / "rig.toml")
    async with app.run_test() as pilot:
        await settle(pilot)
        app.screen.query_one("#making-problems", RowList).focus()
        await pilot.press("enter")
        await settle(pilot)
        area = app.screen.query_one(TextArea)
        assert area.has_focus
        assert JOB.split("\n")[area.cursor_location[0]] == "cavities = 12"


async def test_add_delete_undo_redo(folder):
    app = editor(folder / "rig.toml")
    async with app.run_test() as pilot:
        await settle(pilot)
        await pilot.press("a")
        await settle(pilot)
        assert [row["channel"] for row in app.making_page.document.rows("channels")] == [1, 2, 3]
        assert app.making_page.document.rows("channels")[2]["cavity"] == "H1-1"
        await pilot.press("up", "up", "d")
        await settle(pilot)
        assert [row["channel"] for row in app.making_page.document.rows("channels")] == [2, 3]
        await pilot.press("ctrl+z", "ctrl+z")
        await settle(pilot)
        assert text_of(app) == JOB
        await pilot.press("ctrl+y")
        await settle(pilot)
        assert len(app.making_page.document.rows("channels")) == 3


async def test_a_place_is_chosen_from_the_list_or_added(folder):
    app = editor(folder / "rig.toml")
    async with app.run_test() as pilot:
        await settle(pilot)
        app.screen.query_one("#making-grid", CellGrid).go_to("1", "location")
        await pilot.press("c")
        await settle(pilot)
        assert isinstance(app.screen, ChooseOne)
        await pilot.press(*"left", "space", *"wing", "enter")
        await settle(pilot)
        job = parse_job(text_of(app))
        assert job.location_of(2).name == "left wing"
        assert job.channel(2).location == "left_wing"
        app.screen.query_one("#making-grid", CellGrid).go_to("1", "load")
        await pilot.press("c")
        await settle(pilot)
        await pilot.press(*"boost", "enter")
        await settle(pilot)
        assert parse_job(text_of(app)).channel(2).load == "valve_boost"


async def test_what_is_chosen_but_stands_in_a_table_of_its_own_is_told_and_left(folder):
    text = JOB + '[channels.override]\nhazard = "motion"\n'
    (folder / "rig.toml").write_text(text, encoding="utf-8")
    app = editor(folder / "rig.toml")
    async with app.run_test() as pilot:
        await settle(pilot)
        app.screen.query_one("#making-grid", CellGrid).go_to("1", "channel")
        form = app.screen.query_one("#making-form", CellGrid)
        form.focus()
        form.go_to("override.hazard", "value")
        await pilot.press("c")
        await settle(pilot)
        await pilot.press(*"fuel", "enter")
        await settle(pilot)
        assert "change it in the text" in " ".join(note.message for note in app._notifications)
        assert text_of(app) == text


async def test_the_form_and_the_head_write_what_the_table_has_no_room_for(folder):
    app = editor(folder / "rig.toml")
    async with app.run_test() as pilot:
        await settle(pilot)
        form = app.screen.query_one("#making-form", CellGrid)
        form.focus()
        form.go_to("override.hazard", "value")
        await write(pilot, "motion")
        form.go_to("train.count", "value")
        await write(pilot, "2")
        assert parse_job(JOB).load_type(1).hazard.value == "none"
        assert app.making_page.document.raw()["channels"][0]["override"] == {"hazard": "motion"}
        assert app.making_page.document.raw()["channels"][0]["train"] == {"count": 2}
        head = app.screen.query_one("#making-head", CellGrid)
        head.focus()
        head.go_to("setting", "value")
        await write(pilot, "vehicle")
        assert 'setting = "vehicle"' in text_of(app)


async def test_typing_in_the_text_is_checked_and_undone_as_one(folder):
    app = editor(folder / "rig.toml")
    async with app.run_test() as pilot:
        await settle(pilot)
        area = app.screen.query_one(TextArea)
        area.focus()
        await pilot.press("x", "=", "[")
        app.making_page.take_text()
        await settle(pilot)
        assert app.making_page.document.problems[0].reason.startswith("not TOML")
        assert app.screen.query_one("#making-grid", CellGrid).rows == ()
        await pilot.press("escape", "ctrl+z")
        await settle(pilot)
        assert text_of(app) == JOB
        assert area.text == JOB


async def test_turning_through_the_panes_writes_nothing_into_the_text(folder):
    app = editor(folder / "rig.toml")
    async with app.run_test(size=SIZES[0]) as pilot:
        await settle(pilot)
        await pilot.press(*"vvvvvvv")
        await settle(pilot)
        assert app.screen.query_one(TextArea).text == JOB
        assert app.screen.query_one(Deck).front == 2  # of five panes, after seven turns
        await pilot.press("v", "v", "tab", "z")
        assert "z" in app.screen.query_one(TextArea).text.splitlines()[0]


async def test_a_new_job_from_a_template(folder):
    app = editor()
    async with app.run_test() as pilot:
        await settle(pilot)
        assert "No job is open here" in app.screen.query_one("#making-grid", CellGrid).empty_text
        await pilot.press("n")
        await settle(pilot)
        await pilot.press(*"wasted", "enter")
        await settle(pilot)
        line = app.screen.query_one(Input)
        line.value = "rig.toml"
        await pilot.press("enter")
        await settle(pilot)
        assert "rig.toml is there already" in str(app.screen.query_one("#asking-problem").render())
        line.value = "boat.toml"
        await pilot.press("enter")
        await settle(pilot)
        assert not (folder / "boat.toml").exists()
        assert (folder / "boat.toml.unsaved").exists()
        await pilot.press("ctrl+s")
        await settle(pilot)
    assert load_job(folder / "boat.toml").engine.ignition == "wasted_spark"
    assert not (folder / "boat.toml.unsaved").exists()


async def test_leaving_asks_about_unsaved_changes_and_stays_unless_told_otherwise(folder, desk):
    app = editor(folder / "rig.toml")
    async with app.run_test() as pilot:
        await settle(pilot)
        await pilot.press("d", "ctrl+q")
        await settle(pilot)
        assert isinstance(app.screen, AskUnsaved)
        await pilot.press("enter")
        await settle(pilot)
        assert isinstance(app.screen, JobPage)
        await pilot.press("ctrl+q")
        await settle(pilot)
        await pilot.press("l")
        await settle(pilot)
    assert app.return_code == 0
    assert (folder / "rig.toml").read_text(encoding="utf-8") == JOB
    draft = (folder / "rig.toml.unsaved").read_text(encoding="utf-8")
    again = editor(folder / "rig.toml")
    async with again.run_test() as pilot:
        await settle(pilot)
        assert isinstance(again.screen, AskDraft)
        await pilot.press("t")
        await settle(pilot)
        assert text_of(again) == draft
        await pilot.press("ctrl+z")
        await settle(pilot)
        assert text_of(again) == JOB
    assert not (folder / "rig.toml.unsaved").exists()


async def test_leaving_stops_the_box_before_it_asks(folder, desk):
    app = Console(desk, job_path=folder / "rig.toml")
    async with app.run_test() as pilot:
        await settle(pilot)
        await pilot.press("0")
        await settle(pilot)
        await pilot.press("d", "1", "ctrl+q")
        await settle(pilot)
        assert desk.stops == 1
        assert isinstance(app.screen, AskUnsaved)
        await pilot.press("s")
        await settle(pilot)
    assert app.return_code == 0
    assert (folder / "rig.toml").read_text(encoding="utf-8") != JOB


async def test_what_someone_else_wrote_is_not_saved_over_unasked(folder):
    app = editor(folder / "rig.toml")
    async with app.run_test() as pilot:
        await settle(pilot)
        (folder / "rig.toml").write_text(JOB + "# theirs\n", encoding="utf-8")
        await pilot.press("d", "ctrl+s")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        assert (folder / "rig.toml").read_text(encoding="utf-8") == JOB + "# theirs\n"
        await pilot.press("ctrl+s")
        await settle(pilot)
        await pilot.press("y")
        await settle(pilot)
        assert (folder / "rig.toml").read_text(encoding="utf-8") == text_of(app)


async def test_a_pin_out_is_read_settled_and_made_a_job(folder):
    app = editor()
    async with app.run_test(size=SIZES[0]) as pilot:
        await settle(pilot)
        await pilot.press("i")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        screen = app.screen
        assert isinstance(screen, PinoutScreen)
        lines = screen.query_one("#pinout-lines", RowList)
        assert [row.tail[0] for row in lines.rows] == ["? 2 types", "? 2 types", "fan_relay"]
        told = [
            row.parts[0][0].strip() + " " + row.parts[1][0]
            for row in screen.query_one("#pinout-remarks", RowList).rows
        ]
        assert "✗ settle row 5, wire: " in told
        assert (
            "- left out row 6: an input or sensor, not an output (`sensor ground`): 4 | Sensor ground | BN"
            in told
        )
        lines.focus()
        screen.query_one(Deck).bring("pane-pinout-lines")
        await pilot.press("s")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        assert [row.tail[0] for row in lines.rows] == ["injector_high", "injector_high", "fan_relay"]
        await pilot.press("t")
        await settle(pilot)
        await pilot.press(*"inline-four", "enter")
        await settle(pilot)
        await pilot.press("ctrl+s")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        job = parse_job(text_of(app))
        assert [channel.load for channel in job.channels] == ["injector_high", "injector_high", "fan_relay"]
        assert job.location_of(2).cylinder == 2


async def test_a_column_is_matched_otherwise_and_a_wrong_choice_is_told(folder):
    app = editor()
    async with app.run_test(size=(120, 36)) as pilot:
        await settle(pilot)
        await pilot.press("i")
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        grid = app.screen.query_one("#pinout-columns", CellGrid)
        grid.go_to("wire", "column")
        await pilot.press("c")
        await settle(pilot)
        await pilot.press(*"(no", "enter")
        await settle(pilot)
        row = next(row for row in grid.rows if row.key == "wire")
        assert row.cells == ("wire", "-", "you said there is none")
        grid.go_to("location", "column")
        await write(pilot, "Nowhere")
        assert "there is no column `Nowhere`" in str(app.screen.query_one("#making-file").render())
        await write(pilot, "C")
        assert next(row for row in grid.rows if row.key == "location").cells[1] == "C Colour"


def test_a_draft_is_whole_at_any_moment_and_kept_with_the_files_mode(folder):
    piece = JobFile.open(folder / "rig.toml")
    (folder / "rig.toml").chmod(0o640)
    piece.document.change(JOB + "# more\n", "typed")
    piece.keep_draft()
    assert piece.draft_path.read_text(encoding="utf-8") == JOB + "# more\n"
    piece.save()
    assert (folder / "rig.toml").stat().st_mode & 0o777 == 0o640
    assert sorted(path.name for path in folder.iterdir()) == ["pins.csv", "rig.toml"]


# --- pictures ----------------------------------------------------------------------------------------------


@pytest.fixture
def still(monkeypatch):
    monkeypatch.setattr(Input, "cursor_blink", False)
    monkeypatch.setattr(TextArea, "cursor_blink", False)
    monkeypatch.setenv("TEXTUAL_ANIMATIONS", "none")


@pytest.mark.parametrize(
    ("state", "size"),
    [
        (state, size)
        for state in ("empty", "wrong", "form", "pinout")
        for size in SIZES
        if size == SIZES[0] or state in ("wrong", "pinout")
    ],
    ids=lambda value: value if isinstance(value, str) else f"{value[0]}x{value[1]}",
)
def test_picture(snap_compare, folder, still, state, size):
    async def before(pilot):
        await settle(pilot)
        if state == "pinout":
            await pilot.press("i")
            await settle(pilot)
            await pilot.press("enter")
        elif state != "empty":
            await pilot.press("down", "right", "right", "right", "right")
            await write(pilot, "valve_prge")
        if state == "form" and size == SIZES[0]:
            await pilot.press("v")
        await settle(pilot)

    app = editor(None if state in ("empty", "pinout") else folder / "rig.toml")
    assert snap_compare(app, terminal_size=size, run_before=before)
