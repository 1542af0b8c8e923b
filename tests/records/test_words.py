"""Numbers as the report writes them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomproof.records.models import EstimateFact
from loomproof.records.report import words


@given(
    st.floats(-1e6, 1e6, allow_nan=False),
    st.floats(1e-9, 1e5, allow_nan=False),
)
def test_the_rounded_value_stays_within_its_last_digit(value, u):
    shown_value, shown_u = words.expanded(value, u).replace("−", "-").split(" ± ")
    place = 10.0 ** (math.floor(math.log10(u)) - 1)
    assert float(shown_u) == pytest.approx(u, abs=place * 5.01)
    assert float(shown_value) == pytest.approx(value, abs=place * 5.01)
    digits = shown_u.replace(".", "").lstrip("0")
    assert len(digits.rstrip("0")) <= 2
    decimals = [len(text.partition(".")[2]) for text in (shown_value, shown_u)]
    assert decimals[0] == decimals[1]


@pytest.mark.parametrize(
    ("value", "u", "text"),
    [
        (14.2071, 0.0613, "14.207 ± 0.061"),
        (0.5, 0.0996, "0.50 ± 0.10"),
        (90.153, 0.72, "90.15 ± 0.72"),
        (1234.0, 123.0, "1230 ± 120"),
        (-0.031, 0.004, "−0.0310 ± 0.0040"),
        (3.0, 0.0, "3"),
        (math.inf, 1.0, "inf ± 1"),
    ],
)
def test_two_digits_of_uncertainty(value, u, text):
    assert words.expanded(value, u) == text


@pytest.mark.parametrize(
    ("unit", "value", "u", "text"),
    [
        ("ohm", 14.2, 0.05, "(14.20 ± 0.10) Ω"),
        ("H", 0.014, 0.0001, "(14.00 ± 0.20) mH"),
        ("s", 0.0016, 0.00002, "(1.600 ± 0.040) ms"),
        ("A", 0.92, 0.01, "(920 ± 20) mA"),
        ("%", 50.0, 1.0, "(50.0 ± 2.0) %"),
        ("", 1.0, 0.1, "1.00 ± 0.20"),
    ],
)
def test_a_measured_value_carries_k_2_and_its_unit(unit, value, u, text):
    assert words.measured(EstimateFact(value=value, u=u), unit) == text


def test_value_and_limits_share_one_prefix():
    assert words.measured(EstimateFact(value=0.9, u=0.005), "A", 0.8, 1.1) == "(0.900 ± 0.010) A"
    assert words.limits(0.8, 1.1, "A", 0.9) == "0.8 to 1.1 A"
    assert words.limits(0.0105, 0.0175, "H") == "10.5 to 17.5 mH"
    assert words.limits(3, None, "A") == "at least 3 A"
    assert words.limits(None, 0.25, "ohm") == "at most 0.25 Ω"
    assert words.limits(None, None, "ohm") == ""


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        ("28 ohm +-15 % (wire 97 mohm), at 17 degC", "28 Ω ±15 % (wire 97 mΩ), at 17 °C"),
        ("median of 3 sisters, +- 9 %", "Median of 3 sisters, ±9 %"),
        ("shortened to 986 us", "Shortened to 986 µs"),
        ("(13.80 ± 0.08) ohm", "(13.80 ± 0.08) Ω"),
        ("ohmic use of us all", "Ohmic use of us all"),
        ("", ""),
    ],
)
def test_sentences_get_their_signs(said, shown):
    assert words.typeset(said) == shown


def test_lists_and_counts_read_as_english():
    assert words.listed([]) == ""
    assert words.listed(["a"]) == "a"
    assert words.listed(["a", "b", "c"]) == "a, b and c"
    assert [words.count(n, "trace") for n in (0, 1, 2)] == ["no traces", "1 trace", "2 traces"]
