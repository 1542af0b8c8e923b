"""Firing orders, angles, companions and numbers against the trade's books."""

import pytest

from loomproof.job.engine import Engine


def engine(order: list[int], layout: str = "inline") -> Engine:
    return Engine.model_validate({"cylinders": len(order), "layout": layout, "firing_order": order})


@pytest.mark.parametrize(
    ("cylinders", "degrees"), [(3, 240), (4, 180), (5, 144), (6, 120), (8, 90)]
)  # fmt: skip
def test_interval_of_an_even_four_stroke(cylinders: int, degrees: float) -> None:
    """720 / n degrees of crankshaft."""
    order = list(range(1, cylinders + 1))
    assert set(engine(order).firing_intervals_deg) == {degrees}


def test_firing_angles() -> None:
    """Common practice, no source: 1-3-4-2 and 1-2-4-5-3 at even intervals."""
    assert engine([1, 3, 4, 2]).firing_angles() == {1: 0, 3: 180, 4: 360, 2: 540}
    assert engine([1, 2, 4, 5, 3]).firing_angles() == {1: 0, 2: 144, 4: 288, 5: 432, 3: 576}


def test_companions_as_the_textbook_has_them() -> None:
    """Halderman & Linder, Automotive Fuel and Emissions Control Systems: 1-6-5-4-3-2 pairs 1/4, 6/3, 5/2."""
    assert engine([1, 6, 5, 4, 3, 2], "vee").wasted_pairs == ((1, 4), (6, 3), (5, 2))


@pytest.mark.parametrize(
    ("order", "pairs"),
    [
        ([1, 3, 4, 2], {(1, 4), (3, 2)}),
        ([1, 5, 3, 6, 2, 4], {(1, 6), (5, 2), (3, 4)}),
        ([1, 8, 4, 3, 6, 5, 7, 2], {(1, 6), (8, 5), (4, 7), (3, 2)}),
    ],
)
def test_companions_by_the_same_rule(order: list[int], pairs: set[tuple[int, int]]) -> None:
    """The textbook's rule (second half of the order under the first) on orders in common use."""
    assert set(engine(order).wasted_pairs) == pairs


def test_numbers_by_din_73021() -> None:
    """DIN 73021: seen from the end opposite the output; cylinder 1 is the left bank's farthest from it.

    For whoever stands at the free end, left bank: 1 nearest, counting away; then the right bank.
    """
    six = Engine.model_validate(
        {"cylinders": 6, "layout": "vee", "firing_order": [1, 4, 2, 5, 3, 6], "free_end": "rear"}
    )
    # With the free end at the rear the viewer looks forward, so that his left is the picture's left.
    left = sorted((place.row, place.cylinder) for place in six.cylinder_places() if place.x == 0)
    right = sorted((place.row, place.cylinder) for place in six.cylinder_places() if place.x == 1)
    assert left == [(0, 1), (1, 2), (2, 3)]
    assert right == [(0, 4), (1, 5), (2, 6)]
    nearest = max(six.cylinder_places(), key=lambda place: place.y)  # the bottom of the picture is the rear
    assert nearest.row == 0
