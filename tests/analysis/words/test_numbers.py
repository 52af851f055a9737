"""A number says no more than its uncertainty carries."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.words.numbers import (
    join_words,
    kept_together,
    say_amount,
    say_interval,
    say_level,
    say_number,
    say_p,
    say_share,
    say_signed,
    start,
    true_minus,
)


@pytest.mark.parametrize(
    ("value", "step", "said"),
    [
        (8.2134, 5.1, "8.2"),
        (8.2134, 0.51, "8.21"),
        (1234.5, 400, "1230"),
        (1234.5, 40, "1234"),
        (-0.001, 5, "0.0"),
        (-3.14159, 0.1, "-3.14"),
        (0.000123, None, "0.000123"),
        (1234567.8, None, "1234568"),
        (2.0, None, "2"),
        (0.0, None, "0"),
        (None, 1, "not known"),
    ],
)
def test_numbers_are_rounded_to_two_digits_of_their_step(value, step, said):
    assert say_number(value, step) == said


@given(st.floats(-1e9, 1e9), st.floats(1e-6, 1e6))
def test_rounding_moves_a_number_by_less_than_a_tenth_of_its_step(value, step):
    assert abs(float(say_number(value, step)) - value) <= 0.051 * step + 1e-9 * abs(value)


@given(st.floats(-1e12, 1e12, allow_nan=False))
def test_three_digits_are_kept_without_a_step(value):
    assert float(say_number(value)) == pytest.approx(value, rel=0.006, abs=1e-9)


@pytest.mark.parametrize(
    ("p", "said"),
    [
        (0.0123, "p = 0.012"),
        (0.5, "p = 0.50"),
        (0.0499, "p = 0.050"),
        (0.00999, "p = 0.0100"),
        (0.001, "p = 0.0010"),
        (0.0004, "p < 0.001"),
        (0.0, "p < 0.001"),
        (1.0, "p > 0.99"),
    ],
)
def test_p_has_two_digits_a_floor_and_a_ceiling(p, said):
    assert say_p(p) == said


def test_what_rounding_left_over_is_nought():
    assert say_number(1e-17, 1e-17) == "0"
    assert say_number(-3e-16, 1e-14) == "0"


def test_signs_units_levels_and_lists():
    assert say_signed(3.0, 1.2) == "+3.0"
    assert say_signed(-3.0, 1.2) == "-3.0"
    assert say_signed(0.0, 1.2) == "0.0"
    assert say_amount(2.5, "% flour") == "2.5 % flour"
    assert say_amount(2.5, "") == "2.5"
    assert say_level(2.50) == "2.5"
    assert say_level("yogurt") == "yogurt"
    assert say_share(0.95) == "95 %"
    assert say_share(0.999) == "99.9 %"
    assert join_words(["a", "b", "c"]) == "a, b and c"
    assert start("pH fell") == "pH fell"
    assert start("rise fell") == "Rise fell"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("-4.3 to -1.9", "−4.3 to −1.9"),
        ("moved by (-4.3) at\n-5 °C", "moved by (−4.3) at\n−5 °C"),
        ("half-baked on 2026-11-25 in 5-10 min, code x-1, - 3 things", None),
        ('--reference="-5" or a=-5', None),
    ],
)
def test_only_a_negative_number_gets_a_true_minus(text, said):
    assert true_minus(text) == (said or text)


def test_an_interval_with_an_open_end_says_so():
    assert say_interval(3.1, 13.3, 0.95) == "95 % interval 3.1 to 13.3"
    assert say_interval(None, 4.0, 0.9) == "90 % interval up to 4"
    assert say_interval(2.0, None, 0.9) == "90 % interval from 2 on"
    assert say_interval(None, None, 0.9) == "no interval"


@given(st.floats(0.001, 0.99))
def test_p_is_never_said_smaller_than_by_half_its_last_digit(p):
    said = float(say_p(p).removeprefix("p = "))
    assert math.isclose(said, p, rel_tol=0.051)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("95 % interval -2 to 3", "95\u00a0% interval −2 to 3"),
        ("told apart (p < 0.001)", "told apart (p\u00a0<\u00a00.001)"),
        ("F = 10.8", "F =\u00a010.8"),
        ("sleep = well", "sleep = well"),
    ],
)
def test_no_line_ends_inside_a_number_that_is_read_as_one(text, said):
    assert kept_together(text) == said
