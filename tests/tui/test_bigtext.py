"""Large letters: they fit, they are large, and nothing of the text is lost."""

import pytest

from loomproof.tui.widgets.bigtext import LARGEST_PX, big_lines, fitting, font_path


def size_of(text, width, height):
    """Height of the letters' em in half rows; capitals of this font are 0.73 of it (from memory)."""
    found = fitting(text.upper(), width, height)
    assert found is not None
    return found[1]


def ink(lines):
    return sum(ch != " " for line in lines for ch in line)


@pytest.mark.parametrize(("width", "height"), [(76, 14), (116, 14), (60, 20), (200, 50)])
@pytest.mark.parametrize("text", ["cylinder 3 injector", "Seat it", "Channel 12", "fuel pump relay socket"])
def test_it_fits(text, width, height):
    lines = big_lines(text, width, height)
    assert len(lines) <= height
    assert max(len(line) for line in lines) <= width
    assert ink(lines) > 20


@pytest.mark.parametrize("text", ["cylinder 3 injector", "Channel 12", "Seat it", "fan relay socket"])
def test_letters_are_five_rows_high_where_a_screen_of_120_by_36_has_room(text):
    """The walk page's pane there is 116 x 14 cells; a capital's rows are those of the letter I."""
    assert size_of(text, 116, 14) * 0.73 >= 5 * 2 - 0.5
    assert size_of(text, 76, 13) * 0.73 >= 4 * 2


def test_the_font_is_found_and_a_seven_is_no_one():
    assert font_path() is not None
    assert big_lines("7", 30, 10) != big_lines("1", 30, 10)


def test_letters_grow_no_larger_than_they_need():
    assert len(big_lines("1", 500, 200)) * 2 <= LARGEST_PX + 2


def test_what_does_not_fit_at_all_is_plain_text():
    assert big_lines("cylinder", 8, 3) == ("CYLINDER",)
    assert big_lines("cylinder", 3, 3) == ("CYL",)
