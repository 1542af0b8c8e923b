"""The documents say what the code does."""

import re
from pathlib import Path

import pytest

from loomproof.job.catalogue import CATALOGUE
from loomproof.job.file.loading import JobError, parse_job
from loomproof.job.publish import published, stale

ROOT = Path(__file__).parents[2]
GUIDE = (ROOT / "docs" / "job-file.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```toml\n(.*?)```", GUIDE, flags=re.DOTALL)


def test_nothing_published_is_stale() -> None:
    assert stale(ROOT) == [], "run python -m loomproof.job.publish"


def test_a_stale_file_is_seen(tmp_path: Path) -> None:
    docs, core = tmp_path / "docs", tmp_path / "firmware" / "core"
    docs.mkdir()
    core.mkdir(parents=True)
    (docs / "job-file.md").write_text(GUIDE.replace("| `lamp_5w` |", "| `lamp_6w` |"), encoding="utf-8")
    (docs / "job.schema.json").write_text("{}", encoding="utf-8")
    (core / "load_traits_gen.h").write_text(
        (ROOT / "firmware" / "core" / "load_traits_gen.h")
        .read_text(encoding="utf-8")
        .replace("FUEL", "NONE"),
        encoding="utf-8",
    )
    assert {path.name for path in stale(tmp_path)} == {"job-file.md", "job.schema.json", "load_traits_gen.h"}
    for path, text in published(tmp_path).items():
        path.write_text(text, encoding="utf-8")
    assert stale(tmp_path) == []


def test_a_guide_without_its_marks_is_refused(tmp_path: Path) -> None:
    (tmp_path / "docs").mkdir()
    (tmp_path / "docs" / "job-file.md").write_text("# nothing\n", encoding="utf-8")
    with pytest.raises(ValueError, match="marks are missing"):
        published(tmp_path)


def test_every_load_is_in_the_guide() -> None:
    for key in CATALOGUE:
        assert f"| `{key}` |" in GUIDE


def test_the_smallest_job_of_the_guide_is_sound() -> None:
    job = parse_job(BLOCKS[0])
    assert job.identity.title == "One relay"
    assert job.load_type(1).key == "relay_diode"


def test_the_guides_engine_and_own_load_are_sound() -> None:
    engine = next(block for block in BLOCKS if "[engine]" in block)
    banks = next(block for block in BLOCKS if block.startswith("numbering"))
    load = next(block for block in BLOCKS if "[[loads]]" in block)
    own = BLOCKS[0].replace('load = "relay_diode"', 'load = "relay_horn"')
    job = parse_job(f"{own}\n{engine}\n{banks}\n{load}")
    assert job.load_type(1).name == "horn relay, 120 ohm"
    assert job.engine is not None
    assert job.engine.bank_rows() == ((2, 4, 6), (1, 3, 5))


def test_the_guides_override_is_sound_on_an_injector() -> None:
    override = next(block for block in BLOCKS if block.startswith("override"))
    job = parse_job(BLOCKS[0].replace('load = "relay_diode"', f'load = "injector_high"\n{override}'))
    resistance = job.load_type(1).resistance_ohm
    assert resistance is not None
    assert (resistance.value, resistance.source) == (13.8, "printed on the injector")


def test_what_the_guide_refuses_is_refused() -> None:
    with pytest.raises(JobError, match="an injector without a location"):
        parse_job(re.sub(r'load = "relay_diode".*\nlocation = "k1"', 'load = "injector_high"', BLOCKS[0]))
