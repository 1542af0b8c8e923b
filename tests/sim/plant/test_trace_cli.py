import csv
import io

import pytest
from typer import Typer
from typer.testing import CliRunner

from loomproof_sim.trace_cli import register


@pytest.fixture
def run():
    app = Typer()
    register(app)
    app.callback()(lambda: None)

    def call(*arguments):
        return CliRunner().invoke(app, ["trace", *arguments])

    return call


def rows(text):
    table = list(csv.reader(io.StringIO(text)))
    return table[0], [[float(v) for v in row] for row in table[1:]]


def test_one_load(run):
    done = run("--load", "injector_high", "--count", "2", "--frequency-hz", "50", "--on-time-ms", "5")
    assert done.exit_code == 0
    head, table = rows(done.stdout)
    assert head == ["time_s", "current_a", "drain_v", "supply_v"]
    assert len(table) == int((0.02 + 0.005 + 0.005) / 26e-6) + 1
    at_end = [row for row in table if 4.9e-3 < row[0] < 5e-3]
    assert all(0.85 < row[1] < 0.96 for row in at_end)
    assert max(row[2] for row in table) == pytest.approx(48.0, abs=0.1)
    assert table[-1][1] == 0.0


def test_file(run, tmp_path):
    done = run("--load", "lamp_5w", "--count", "1", "--out", str(tmp_path / "lamp.csv"))
    assert done.exit_code == 0
    assert len(rows((tmp_path / "lamp.csv").read_text())[1]) > 1000


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        ((), "either"),
        (("--load", "nonesuch"), "nonesuch"),
        (("--job", "missing.toml", "--channel", "1"), "missing.toml"),
        (("--load", "injector_high", "--frequency-hz", "500", "--on-time-ms", "5"), "overlap"),
        (("--load", "injector_high", "--sample-us", "0.01", "--count", "20"), "rows"),
        (("--load", "injector_high", "--fault", "open:1"), "--job"),
    ],
)
def test_bad_usage_says_why(run, arguments, word):
    done = run(*arguments)
    assert done.exit_code == 2
    assert word in done.output
