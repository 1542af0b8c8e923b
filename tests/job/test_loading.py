# ruff: noqa: E501 - one row of the table of broken rules each
"""Each rule of a job file is broken once; the problem must name the right line, key, reason and remedy."""

from pathlib import Path

import pytest

from loomproof.job.file.loading import JobError, Problem, job_problems, load_job, parse_job
from loomproof.job.model import Job

EXAMPLES = Path(__file__).parents[2] / "examples"
FIVE = (EXAMPLES / "inline-five-turbo.toml").read_text(encoding="utf-8")
BOAT = (EXAMPLES / "boat-four-wasted-spark.toml").read_text(encoding="utf-8")
BENCH = (EXAMPLES / "bench-relays-lamps-stepper.toml").read_text(encoding="utf-8")
SIX = (EXAMPLES / "classroom-vee-six.toml").read_text(encoding="utf-8")


def problems_of(text: str) -> tuple[Problem, ...]:
    with pytest.raises(JobError) as caught:
        parse_job(text)
    return caught.value.problems


def line_of(text: str, marker: str) -> int:
    """Line of the only place that holds `marker` (or the one above it), counted without the code under test."""
    above = marker.startswith("above ")
    marker = marker.removeprefix("above ")
    assert text.count(marker) == 1, f"{marker!r} is there {text.count(marker)} times"
    return text[: text.index(marker)].count("\n") + (0 if above else 1)


# base, what is replaced, by what, marker on the blamed line, key, part of the reason, part of the remedy
CASES = {
    "channel twice": (
        FIVE, 'channel = 2\n', 'channel = 1 # here\n', "# here",
        "channel 1: channel", "already used by 'injector 1'", "its own output"),
    "cavity twice": (
        FIVE, '"H1-2"', '"H1-3"', 'wire = "GNRD"'.replace('wire', 'cavity = "H1-3"\nwire'),
        "channel 3: cavity", "already taken by channel 2", "its own cavity"),
    "feed and channel share a cavity": (
        BOAT, '"H1-1"', '"H1-23" # here', "# here",
        "channel 1: cavity", "already taken by feed F1", "its own cavity"),
    "cavity beyond the connector": (
        FIVE, '"H1-36"', '"H1-37"', '"H1-37"',
        "channel 16: cavity", "has 36 cavities, no number 37", "H1-1 to H1-36"),
    "cavity of an unknown connector": (
        BOAT, '"H2-8"', '"H3-8"', '"H3-8"', "channel 12: cavity", "no connector `H3`", "use one of H1, H2"),
    "cavity without a number": (
        FIVE, '"H1-36"', '"H1"', 'cavity = "H1"', "channel 16: cavity", "form", "such as H1-14"),
    "too many cavities for the connector": (
        FIVE, "cavities = 36", "cavities = 37", "cavities = 37",
        "connector H1: cavities", "3 rows of 12 hold 36", "mend"),
    "id twice": (
        FIVE, '[[feeds]]\nid = "F2"\n', '[[feeds]]\nid = "F1" # here\nname = "x"\n[[feeds]]\nid = "F2"\n', "# here", "feed F1: id", "used twice", "its own id"),
    "unknown load": (
        FIVE, '"valve_boost"', '"valve_bost"', '"valve_bost"',
        "channel 11: load", "no load `valve_bost`", "did you mean `valve_boost`"),
    "unknown feed": (
        FIVE, 'location = "inj1"\nfeed = "F1"', 'location = "inj1"\nfeed = "F7"', '"F7"',
        "channel 1: feed", "no feed `F7`", "use one of F1, F2, F3"),
    "unknown location": (
        FIVE, 'location = "tacho"', 'location = "tocho"', '"tocho"',
        "channel 16: location", "no location `tocho`", "did you mean `tacho`"),
    "wire colour in small letters": (
        FIVE, '"GNBN"', '"gnbn"', '"gnbn"', "channel 2: wire", "not a wire colour", "did you mean `GNBN`"),
    "wire colour in words": (
        FIVE, '"GNBN"', '"green"', '"green"', "channel 2: wire", "not a wire colour", "IEC 60757"),
    "unknown key": (
        FIVE, "fuel_pump = true", "fuel_pmp = true", "fuel_pmp",
        "channel 15: fuel_pmp", "not a key that belongs here", "did you mean `fuel_pump`"),
    "unknown table": (
        FIVE, "[engine]", "[motor]\na = 1\n[engine]", "[motor]", "motor", "not a key", "remove it"),
    "firing order names a cylinder twice": (
        FIVE, "[1, 2, 4, 5, 3]", "[1, 2, 4, 4, 3]", "firing_order",
        "engine.firing_order", "4 named twice; 5 missing", "1 to 5 once"),
    "firing order of another engine": (
        FIVE, "[1, 2, 4, 5, 3]", "[1, 5, 3, 6, 2, 4]", "firing_order",
        "engine.firing_order", "6 not on this engine", "1 to 5 once"),
    "firing order begins elsewhere": (
        FIVE, "[1, 2, 4, 5, 3]", "[4, 5, 3, 1, 2]", "firing_order",
        "engine.firing_order", "begins with cylinder 1", "[1, 2, 4, 5, 3]"),
    "firing order no even crankshaft can do": (
        BOAT, "[1, 3, 4, 2]", "[1, 4, 3, 2]", "firing_order",
        "engine.firing_order", "companion of 1 is 4", "state intervals_deg"),
    "wasted spark on five cylinders": (
        FIVE, 'ignition = "single"', 'ignition = "wasted_spark"', "ignition",
        "engine.ignition", "5 cylinders cannot be paired", 'ignition = "single"'),
    "wasted-spark pair that are no companions": (
        BOAT, "cylinders = [1, 4]", "cylinders = [1, 3]", "[1, 3]\n",
        "location pack_a: cylinders", "1/3 are not companions", "1/4, 3/2"),
    "wasted-spark coil for one cylinder": (
        BOAT, "cylinders = [1, 4]", "cylinder = 1 # here", 'location = "pack_a"',
        "channel 5: location", "serves two cylinders", "both companions"),
    "two coils for one pair": (
        BOAT, "cylinders = [2, 3]", "cylinders = [4, 1]", 'location = "pack_b"',
        "channel 6: location", "already have the coil on channel 5", "mend the cylinders"),
    "intervals that do not close the cycle": (
        FIVE, "displacement_cm3 = 2640", "intervals_deg = [144, 144, 144, 144, 140]", "intervals_deg",
        "engine.intervals_deg", "add up to 716 degrees, not 720", "fires evenly"),
    "stated numbering without banks": (
        SIX, 'layout = "vee"', 'layout = "vee"\nnumbering = "stated"', "[engine]",
        "engine.banks", "needs the banks", "left bank first"),
    "banks beside the standard's numbering": (
        SIX, 'layout = "vee"', 'layout = "vee"\nbanks = [[1, 3, 5], [2, 4, 6]]', "banks =",
        "engine.banks", "DIN 73021", 'numbering = "stated"'),
    "cylinder in the other bank": (
        SIX, "cylinder = 6\nbank = 2\nplace = \"rail, right bank\"", "cylinder = 6\nbank = 1 # here", "# here",
        "location inj6: bank", "cylinder 6 is not in bank 1 (1, 2, 3)", "mend"),
    "cylinder the engine lacks": (
        FIVE, 'injector"\ncylinder = 5', 'injector"\ncylinder = 6', "cylinder = 6",
        "location inj5: cylinder", "no number 6", "1 to 5"),
    "free end across the engine": (
        SIX, 'free_end = "right"', 'free_end = "front"', "free_end",
        "engine.free_end", "crosswise does not end at the front", '"left" or "right"'),
    "train too long for the load": (
        FIVE, 'load = "tacho_input"', 'load = "tacho_input"\ntrain = { count = 5000, frequency_hz = 10, on_time_ms = 1 }',
        "count = 5000", "channel 16: train.count", "5000 is impossible here: the most is 2000", "within"),
    "train over the load's on-time": (
        FIVE, 'location = "coil1"\nfeed', 'train = { count = 5, frequency_hz = 5, on_time_ms = 3 }\nlocation = "coil1"\nfeed',
        "on_time_ms = 3", "channel 6: train.on_time_ms", "over this load's limit of 1 ms", "at most 1"),
    "injector without a location": (
        FIVE, 'load = "injector_high"\nlocation = "inj2"\n', 'load = "injector_high"\n', "above channel = 2\n",
        "channel 2: location", "an injector without a location", "add location"),
    "two injectors at one place": (
        FIVE, 'location = "inj2"\n', 'location = "inj1" # here\n', "# here",
        "channel 2: location", "channel 1 already drives a load of kind injector", "its own location"),
    "half-bridge partner not mutual": (
        SIX, "partner = 13", "fitted = true", "partner = 14",
        "channel 13: partner", "channel 14 names no partner, not channel 13", "partner = 13 at channel 14"),
    "partner of a valve": (
        SIX, 'load = "valve_purge"', 'load = "valve_purge"\npartner = 16', "partner = 16",
        "channel 15: partner", "kind valve is not driven by a half-bridge", "remove it"),
    "group of a lamp": (
        BENCH, 'load = "lamp_5w"', 'load = "lamp_5w"\ngroup = "g"', 'group = "g"',
        "channel 7: group", "kind lamp is no stepper winding", "remove it"),
    "fuel pump flag on a valve": (
        FIVE, 'load = "valve_boost"', 'load = "valve_boost"\nfuel_pump = true # here', "# here",
        "channel 11: fuel_pump", "not a relay or a pump motor", "remove it"),
    "fuel pump relay without the flag": (
        FIVE, "fuel_pump = true\n", "", "above channel = 15\n",
        "channel 15: fuel_pump", "does not say so", "add fuel_pump = true"),
    "length in millimetres": (
        FIVE, "length_m = 2.3", "length_m = 2300", "2300",
        "channel 12: length_m", "the most is 60 m", "if you meant 2300 mm, write 2.3"),
    "displacement in litres": (
        FIVE, "displacement_cm3 = 2640", "displacement_cm3 = 2.64", "2.64",
        "engine.displacement_cm3", "the least is 20 cm3", "if you meant 2.64 litres, write 2640"),
    "temperature in kelvin": (
        FIVE, "ambient_c = 18", "ambient_c = 291", "291", "ambient_c", "the most is 80 degC", "within"),
    "value with its unit in text": (
        FIVE, "length_m = 2.3", 'length_m = "2.3 m"', '"2.3 m"',
        "channel 12: length_m", "'2.3 m' is not a number", "number in m, without quotes and unit"),
    "section beyond any table": (
        FIVE, "section_mm2 = 2.5", "section_mm2 = 25", "= 25\n",
        "feed F2: section_mm2", "the most is 16 mm2", "within"),
    "quantity as a bare number": (
        FIVE, '{ value = 8.2, tolerance_percent = 10, source = "measured on the part before the loom was stripped" }',
        "8.2", "= 8.2", "channel 13: override.resistance_ohm", "tolerance and source", "{ value = 8.2,"),
    "override that takes a hazard away": (
        FIVE, 'load = "fan_relay"', 'load = "fan_relay"\noverride = { hazard = "heat" }', '"heat"',
        "channel 14: override.hazard", "not take one away", "remove it"),
    "override that means nothing": (
        FIVE, 'load = "fan_relay"', 'load = "fan_relay"\noverride = { saturation_a = { value = 3, source = "x" } }',
        "saturation_a", "channel 14: override.saturation_a", "means nothing for a load of kind relay", "remove"),
    "override limit that would saturate a coil": (
        FIVE, 'load = "coil_bare"\nlocation = "coil1"',
        'load = "coil_bare"\noverride = { limits = { max_on_time_ms = 4, max_current_a = 20 } }\nlocation = "coil1"',
        "max_on_time_ms = 4", "channel 6: override.limits.max_on_time_ms", "saturate", "at most 1.01"),
    "override limit below the load's own train": (
        FIVE, 'load = "fan_relay"', 'load = "fan_relay"\noverride = { limits = { max_count = 2 } }', "max_count = 2",
        "channel 14: override.limits", "own train no longer fits", "add a train"),
    "own load under a catalogue name": (
        BENCH.replace('load = "relay_horn"', 'load = "relay_plain"'), 'key = "relay_horn"', 'key = "relay_diode"',
        'key = "relay_diode"', "load relay_diode: key", "the catalogue already has", "another key"),
    "own load that lacks a value": (
        BENCH, 'opening_ms = { value = 6, tolerance_percent = 50, source = "common practice, no source" }\n', "",
        '[[loads]]', "load relay_horn: opening_ms", "needs it and it is missing", "add opening_ms"),
    "own load that trips when sound": (
        BENCH, "max_current_a = 0.4", "max_current_a = 0.1", "max_current_a = 0.1",
        "load relay_horn: limits.max_current_a", "a sound load may take 0.148 A", "at least 0.15"),
    "cylinder without an engine": (
        BENCH, 'id = "k1"', 'id = "k1"\ncylinder = 1', "cylinder = 1",
        "location k1: cylinder", "no engine", "add an [engine] table"),
    "single ignition with a coil for two": (
        BOAT.replace("cylinders = [2, 3]", "cylinder = 2"),
        'ignition = "wasted_spark"', 'ignition = "single"', 'location = "pack_a"',
        "channel 5: location", "a single coil serves one cylinder", 'ignition = "wasted_spark"'),
    "stepper windings at two places": (
        BENCH, 'cavity = "H1-15"\nwire = "WHGN"\nsection_mm2 = 0.5\nlength_m = 2.2\nload = "stepper_idle"\nlocation = "m1"',
        'cavity = "H1-15"\nwire = "WHGN"\nsection_mm2 = 0.5\nlength_m = 2.2\nload = "stepper_idle"\nlocation = "k4"',
        'group = "flap"\n\n[[channels]]\nchannel = 14', "channel 13: group", "differ in load or location", "all four the same"),
    "too few intervals": (
        FIVE, "displacement_cm3 = 2640", "intervals_deg = [360, 360]", "intervals_deg",
        "engine.intervals_deg", "2 intervals for 5 cylinders", "one for each cylinder"),
    "one bank for a vee": (
        SIX, 'layout = "vee"', 'layout = "vee"\nnumbering = "stated"\nbanks = [[1, 2, 3, 4, 5, 6]]', "banks =",
        "engine.banks", "layout vee and one bank do not agree", "have two"),
    "five cylinders in a vee": (
        FIVE, 'layout = "inline"', 'layout = "vee"', "cylinders = 5",
        "engine.cylinders", "do not make two equal banks", 'numbering = "stated"'),
    "bank angle of an inline engine": (
        FIVE, 'layout = "inline"', 'layout = "inline"\nbank_angle_deg = 90', "bank_angle_deg",
        "engine.bank_angle_deg", "means nothing for layout inline", "remove it"),
    "second bank of an inline engine": (
        FIVE, 'id = "boost"', 'id = "boost"\nbank = 2', "bank = 2", "location boost: bank", "has one bank", "remove it"),
    "companions on an odd engine": (
        FIVE, 'id = "boost"', 'id = "boost"\ncylinders = [1, 2]', "cylinders = [1, 2]",
        "location boost: cylinders", "no companion cylinders", "use `cylinder`"),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_a_broken_rule_is_told_with_line_key_reason_and_remedy(name: str) -> None:
    base, old, new, marker, key, reason, remedy = CASES[name]
    assert base.count(old) == 1, f"{old!r} is there {base.count(old)} times"
    text = base.replace(old, new)
    problems = problems_of(text)
    assert [(p.line, p.key) for p in problems] == [(line_of(text, marker), key)], problems
    assert reason in problems[0].reason
    assert remedy in problems[0].remedy


def test_a_stepper_of_three_windings() -> None:
    text = BENCH.replace('cavity = "H1-17"\nwire = "WHBN"', 'fitted = false\ncavity = "H1-17"\nwire = "WHBN"')
    parse_job(text)  # an unfitted winding still belongs to its stepper
    head, tail = text.split("[[channels]]\nchannel = 13\n")
    text = head + "[[channels]]\nchannel = 14\n" + tail.split("[[channels]]\nchannel = 14\n")[1]
    (problem,) = problems_of(text)
    assert problem.key == "channel 12: group"
    assert problem.line == line_of(text, "channel = 12\n") + 9
    assert "has 3 windings, not 4" in problem.reason


def test_coils_on_an_engine_without_ignition_are_all_told() -> None:
    problems = problems_of(FIVE.replace('ignition = "single"', 'ignition = "none"'))
    assert [problem.key for problem in problems] == [f"channel {number}: load" for number in range(6, 11)]
    assert 'ignition = "none"' in problems[0].reason


def test_a_partner_of_a_partner_is_no_partner() -> None:
    problems = problems_of(SIX.replace("partner = 13", "partner = 12"))
    assert [problem.key for problem in problems] == ["channel 13: partner", "channel 14: partner"]
    assert "channel 14 names channel 12, not channel 13" in problems[0].reason


def test_a_channel_is_not_its_own_partner() -> None:
    problems = problems_of(SIX.replace("partner = 13\n", "partner = 14\n"))
    assert ("channel 14: partner", "a channel is not its own partner") in [
        (p.key, p.reason) for p in problems
    ]


def test_a_partner_that_is_not_there() -> None:
    head, tail = SIX.split("[[channels]]\nchannel = 14\n")
    (problem,) = problems_of(
        head + "[[channels]]\nchannel = 15\n" + tail.split("[[channels]]\nchannel = 15\n")[1]
    )
    assert (problem.key, problem.reason) == ("channel 13: partner", "there is no channel 14")


def test_partners_at_two_places() -> None:
    problems = problems_of(
        SIX.replace('location = "throttle"\npartner = 13', 'location = "lamp"\npartner = 13')
    )
    assert [problem.key for problem in problems] == ["channel 13: partner", "channel 14: partner"]
    assert "other end of the same motor" in problems[0].reason


def test_a_location_for_one_cylinder_and_for_two() -> None:
    problems = problems_of(BOAT.replace("cylinders = [2, 3]", "cylinders = [2, 3] # here\ncylinder = 2"))
    assert (problems[0].key, problems[0].remedy) == ("location pack_b: cylinders", "remove one of the two")
    assert problems[0].line == line_of(BOAT, "cylinders = [2, 3]")


def test_an_own_load_written_twice() -> None:
    own = BENCH[BENCH.index("[[loads]]") : BENCH.index("[[channels]]")]
    (problem,) = problems_of(BENCH + "\n" + own)
    assert (problem.key, problem.reason) == ("load relay_horn: key", "`relay_horn` is used twice")
    assert problem.line == BENCH.count("\n") + 3


def test_a_stepper_winding_without_a_group() -> None:
    head, tail = BENCH.split('cavity = "H1-17"')
    text = head + 'cavity = "H1-17"' + tail.replace('group = "flap"\n', "", 1)
    told = {(problem.key, problem.reason) for problem in problems_of(text)}
    assert ("channel 13: group", "a stepper winding without a group") in told
    assert ("channel 12: group", "stepper `flap` has 3 windings, not 4") in told


def test_every_limit_a_train_passes_is_told() -> None:
    train = "train = { count = 201, frequency_hz = 51, on_time_ms = 1.5 }\n"
    problems = problems_of(FIVE.replace('location = "coil1"\nfeed', train + 'location = "coil1"\nfeed'))
    assert [problem.key.removeprefix("channel 6: train.") for problem in problems] == [
        "count",
        "frequency_hz",
        "on_time_ms",
        "on_time_ms",
    ]
    assert "on for 7.6% of the time" in problems[2].reason


def test_all_problems_at_once_in_the_order_of_the_file() -> None:
    text = FIVE
    for name in ("unknown load", "length in millimetres", "cavity beyond the connector", "id twice"):
        _, old, new, *_ = CASES[name]
        text = text.replace(old, new)
    problems = problems_of(text)
    lines = [problem.line for problem in problems]
    assert lines == sorted(lines)
    assert {problem.key for problem in problems} >= {
        "feed F1: id",
        "channel 11: load",
        "channel 12: length_m",
        "channel 16: cavity",
    }


def test_a_channel_with_one_bad_key_is_still_checked_for_the_rest() -> None:
    text = FIVE.replace('cavity = "H1-2"', 'cavity = "H1-99"').replace('"GNBN"', '"green"')
    assert [problem.key for problem in problems_of(text)] == ["channel 2: cavity", "channel 2: wire"]


def test_a_bad_key_brings_no_second_complaint() -> None:
    text = FIVE.replace('location = "inj2"', "location = 2")
    (problem,) = problems_of(text)
    assert (problem.key, problem.remedy) == ("channel 2: location", "put it in quotes")


def test_toml_syntax_is_told_by_line_and_more_than_once() -> None:
    text = FIVE.replace("cylinders = 5", "cylinders = 5 5").replace("ambient_c = 18", "ambient_c = ")
    problems = problems_of(text)
    assert [problem.line for problem in problems] == [line_of(text, "ambient_c = "), line_of(text, "5 5")]
    assert all(problem.reason.startswith("not TOML") for problem in problems)


@pytest.mark.parametrize(
    ("value", "reason"), [("1" * 5000, "a number is too long"), ("[" * 5000 + "]" * 5000, "nested too deep")]
)
def test_what_chokes_the_reader_is_told_like_the_rest(value: str, reason: str) -> None:
    text = FIVE.replace("ambient_c = 18", f"ambient_c = {value}").replace("cylinders = 5", "cylinders = 5 5")
    problems = problems_of(text)
    assert {problem.line for problem in problems} == {line_of(text, "ambient_c"), line_of(text, "5 5")}
    assert reason in " ".join(problem.reason for problem in problems)


def test_an_unclosed_bracket_is_told_where_it_opens() -> None:
    text = FIVE.replace("[1, 2, 4, 5, 3]", "[1, 2, 4, 5, 3")
    assert problems_of(text)[0].line in (line_of(text, "[1, 2"), line_of(text, "[1, 2") + 1)
    text = FIVE + "\nlast = [1,\n2\n"
    assert problems_of(text)[0].line == line_of(text, "last = ")


@pytest.mark.parametrize(
    "text", ["", "# nothing\n", "x = 1", "[identity]\n", "channels = 3", "channels = [3]"]
)
def test_a_file_that_says_nothing_still_gets_lines(text: str) -> None:
    problems = problems_of(text)
    assert all(problem.line for problem in problems)
    assert {"connectors", "setting"} <= {problem.key for problem in problems}


def test_a_file_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(JobError, match="No such file"):
        load_job(tmp_path / "none.toml")
    path = tmp_path / "latin.toml"
    path.write_bytes(b"schema_version = 1\n# caf\xe9\n")
    with pytest.raises(JobError) as caught:
        load_job(path)
    assert caught.value.problems[0].line == 2


def test_a_byte_order_mark_and_windows_lines_are_no_matter(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_bytes(b"\xef\xbb\xbf" + FIVE.replace("\n", "\r\n").encode())
    assert load_job(path) == parse_job(FIVE)


def test_a_job_put_together_in_code_can_be_checked() -> None:
    job = parse_job(FIVE)
    assert job_problems(job) == ()
    crossed = job.channels[1].model_copy(update={"cavity": "H1-1"})
    broken = Job.model_validate(job.model_copy(update={"channels": (job.channels[0], crossed)}).model_dump())
    (problem,) = job_problems(broken)
    assert (problem.line, problem.key) == (None, "channel 2: cavity")
