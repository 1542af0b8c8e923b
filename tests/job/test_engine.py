"""Places, angles and companions of the layouts."""

import pytest

from loomproof.job.engine import CylinderPlace, Engine


def grid(engine: Engine) -> list[str]:
    """The engine as seen from above, one text a row, front of the vehicle at the top."""
    places = engine.cylinder_places()
    width = 1 + max(place.x for place in places)
    height = 1 + max(place.y for place in places)
    rows = [["."] * width for _ in range(height)]
    for place in places:
        assert rows[place.y][place.x] == "."
        rows[place.y][place.x] = str(place.cylinder)
    return ["".join(row) for row in rows]


def vee(**more: object) -> Engine:
    return Engine.model_validate(
        {"cylinders": 6, "layout": "vee", "firing_order": [1, 4, 2, 5, 3, 6], "bank_angle_deg": 60} | more
    )


def test_a_vee_lies_as_its_free_end_points() -> None:
    # DIN 73021: left is left as seen from the free end looking towards the output.
    assert grid(vee()) == ["41", "52", "63"]
    assert grid(vee(free_end="rear")) == ["36", "25", "14"]
    assert grid(vee(orientation="crosswise")) == ["654", "321"]
    assert grid(vee(orientation="crosswise", free_end="left")) == ["123", "456"]


def test_turning_the_engine_half_round_turns_the_picture_half_round() -> None:
    ahead, astern = grid(vee()), grid(vee(free_end="rear"))
    assert [row[::-1] for row in ahead[::-1]] == astern


def test_inline_engines() -> None:
    five = {"cylinders": 5, "firing_order": [1, 2, 4, 5, 3]}
    assert grid(Engine.model_validate(five)) == ["1", "2", "3", "4", "5"]
    assert grid(Engine.model_validate(five | {"orientation": "crosswise"})) == ["54321"]


def test_stated_banks_replace_the_standard() -> None:
    engine = vee(numbering="stated", banks=[[2, 4, 6], [1, 3, 5]])
    assert grid(engine) == ["12", "34", "56"]
    assert engine.cylinder_places()[0] == CylinderPlace(cylinder=1, bank=2, row=0, x=0, y=0)


def test_a_flat_four() -> None:
    engine = Engine.model_validate({"cylinders": 4, "layout": "flat", "firing_order": [1, 4, 3, 2]})
    assert grid(engine) == ["31", "42"]
    assert engine.wasted_pairs == ((1, 3), (4, 2))


def test_companions_of_an_uneven_engine_must_be_half_a_cycle_apart() -> None:
    twin = {"cylinders": 2, "layout": "vee", "firing_order": [1, 2], "intervals_deg": [405, 315]}
    with pytest.raises(ValueError, match="not 360 degrees apart"):
        _ = Engine.model_validate(twin).wasted_pairs
    parallel = {"cylinders": 2, "firing_order": [1, 2], "intervals_deg": [360, 360]}
    assert Engine.model_validate(parallel).wasted_pairs == ((1, 2),)


def test_an_odd_count_has_no_companions() -> None:
    with pytest.raises(ValueError, match="3 cylinders cannot be paired"):
        _ = Engine.model_validate({"cylinders": 3, "firing_order": [1, 2, 3]}).wasted_pairs
