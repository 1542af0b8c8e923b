"""The first page when no job was named: recent jobs, another file, the practice loom; then the box."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path, PurePath
from typing import ClassVar

from textual import on, work
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical
from textual.screen import Screen
from textual.widgets import Footer, Input, Static

from loomproof.tui.app_state import AppState, state_of
from loomproof.tui.desk.protocol import SIMULATED_BOX
from loomproof.tui.pages.frame import STYLES
from loomproof.tui.settings import Settings
from loomproof.tui.widgets.dialog_stop import DialogStop
from loomproof.tui.widgets.row_list import Row, RowList

PRACTICE = "practice"
OTHER = "other"
MAKE = "make"
FIRST = """\
Nothing is opened and nothing is driven yet. Choose a job with the arrow keys and Enter.
New here? Take the practice loom: everything in it is simulated, and it shows you what to do.\
"""
JOB_HINT = "Type the path of a job file (TOML) and press Enter; Esc goes back to the list."
BOX_HINT = "Type a port (/dev/ttyUSB0, COM3) or URL (socket://host:port) and press Enter; Esc goes back."
BOX_NOTICE = "NOTICE: the box is opened when you choose it. Any other console's session on it ends."


def job_rows(settings: Settings) -> tuple[Row, ...]:
    """Return a row for each recent job, then what else there is to open."""
    rows = []
    for index, job in enumerate(settings.jobs):
        there = Path(job.path).is_file()
        sign = ("  ", "plain") if there else ("✗ ", "bad")
        name = job.title or Path(job.path).name
        tail = (Path(job.path).name if there else "file is gone", "quiet" if there else "bad")
        rows.append(Row(f"job:{index}", (sign, (name, "plain")), tail=tail))
    rows.append(Row(PRACTICE, (("► ", "live"), ("The practice loom, on a simulated box", "plain"))))
    rows.append(Row(MAKE, (("+ ", "quiet"), ("Make or edit a job", "plain"))))
    rows.append(Row(OTHER, (("… ", "quiet"), ("Another job file", "plain"))))
    return tuple(rows)


def box_rows(last: str, settings: Settings, ports: Sequence[tuple[str, str]]) -> tuple[Row, ...]:
    """Return a row for the job's last box, each recent box, each port of this machine, and the rest."""
    described = dict(ports)
    urls = dict.fromkeys([*((last,) if last else ()), *settings.boxes, *described])
    rows = [
        Row(
            f"box:{url}",
            ((url, "plain"),),
            tail=("last time" if url == last else described.get(url, "used before"), "quiet"),
        )
        for url in urls
        if url != SIMULATED_BOX
    ]
    rows.append(
        Row(
            f"box:{SIMULATED_BOX}",
            (("A simulated box with this job's loom", "plain"),),
            tail=("simulated", "quiet"),
        )
    )
    rows.append(Row(OTHER, (("… ", "quiet"), ("Another port or URL", "plain"))))
    return tuple(rows)


class StartPage(Screen[None]):
    """Choose a job, then a box."""

    CSS_PATH: ClassVar[list[str | PurePath]] = [STYLES / "frame.tcss", STYLES / "start/page.tcss"]
    BINDINGS = [Binding("escape", "back", "Back")]
    HELP = f"""\
# Jobs and boxes

* **up**, **down** and **Enter** choose; **Esc** goes back.
* A job is a text file that says what the loom should be; `loomproof import` makes one from a pin-out table.
* The practice loom needs no box and no file.

{BOX_NOTICE}
"""

    def __init__(self, problem: str = "") -> None:
        super().__init__()
        self._problem = problem
        self._job = ""
        self._typing_box = False

    @property
    def console_app(self) -> AppState:
        """The application, typed."""
        return state_of(self.app)

    def compose(self) -> ComposeResult:
        """Lay out the list, the line to type in, and what is wrong."""
        with Vertical(id="start"):
            yield Static("Loomproof", id="start-name")
            yield Static(FIRST, id="start-text", markup=False)
            yield RowList(id="start-list")
            yield Input(id="start-input")
            yield Static(self._problem, id="start-problem", markup=False)
            yield DialogStop()
        yield Footer(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        """Show the jobs."""
        self.query_one(Input).display = False
        self._show_jobs()
        self.show_problem(self._problem or self.console_app.settings.problem)

    def show_problem(self, problem: str) -> None:
        """Show what is wrong, or a hint; empty: nothing."""
        widget = self.query_one("#start-problem", Static)
        widget.update(problem)
        widget.display = bool(problem)

    def _show_jobs(self) -> None:
        self._job = ""
        self.query_one("#start-text", Static).update(FIRST)
        rows = self.query_one(RowList)
        rows.show(job_rows(self.console_app.settings.now))
        rows.cursor = 0
        rows.focus()

    def _show_boxes(self) -> None:
        self.show_problem("")
        self.query_one("#start-text", Static).update(f"The box for {self._job}\n{BOX_NOTICE}")
        self._list_boxes(())
        self.query_one(RowList).cursor = 0
        self.query_one(RowList).focus()
        self._find_ports()

    def _list_boxes(self, ports: Sequence[tuple[str, str]]) -> None:
        settings = self.console_app.settings.now
        last = next((job.box for job in settings.jobs if job.path == self._job), "")
        self.query_one(RowList).show(box_rows(last, settings, ports))

    @work(thread=True, exclusive=True)
    def _find_ports(self) -> None:
        """List the ports in a thread; a slow USB hub must not hold up the keys."""
        starter = self.console_app.starter
        if starter is not None:
            ports = starter.ports()
            self.app.call_from_thread(self._ports_found, ports)

    def _ports_found(self, ports: Sequence[tuple[str, str]]) -> None:
        if self._job and self.is_mounted:
            self._list_boxes(ports)

    @on(RowList.Chosen)
    def _chosen(self, event: RowList.Chosen) -> None:
        kind, _, value = event.key.partition(":")
        if kind == OTHER:
            self._type(box=bool(self._job))
        elif kind == PRACTICE:
            self.console_app.open_practice()
        elif kind == MAKE:
            self.call_later(self.console_app.make_job)
        elif kind == "job":
            self._take_job(self.console_app.settings.now.jobs[int(value)].path)
        else:
            self.console_app.open_job(self._job, value)

    def _type(self, *, box: bool) -> None:
        self._typing_box = box
        line = self.query_one(Input)
        line.value = ""
        line.placeholder = BOX_HINT if box else JOB_HINT
        line.display = True
        line.focus()
        self.show_problem(BOX_HINT if box else JOB_HINT)

    @on(Input.Submitted)
    def _typed(self, event: Input.Submitted) -> None:
        text = event.value.strip()
        if not text:
            return
        if self._typing_box:
            self.console_app.open_job(self._job, text)
        else:
            self._take_job(str(Path(text).expanduser()))

    def offer(self, path: str) -> None:
        """Take a job that was just made; the box is still to be chosen."""
        self._take_job(path)

    def _take_job(self, path: str) -> None:
        if not Path(path).is_file():
            self.show_problem(
                f"There is no file {path}. Check the path; a relative one starts at {Path.cwd()}."
            )
            return
        self._job = str(Path(path).resolve())
        self.query_one(Input).display = False
        self._show_boxes()

    def action_back(self) -> None:
        """Leave the typing line, then the boxes."""
        line = self.query_one(Input)
        self.show_problem("")
        if line.display:
            line.display = False
            self.query_one(RowList).focus()
        elif self._job:
            self._show_jobs()
