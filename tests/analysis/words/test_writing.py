"""One page has one way of writing numbers, and it ends where the page ends."""

import threading

from hypothesis import given
from hypothesis import strategies as st

from analysis.words.numbers import (
    join_words,
    number_shown,
    say_count,
    say_digits,
    say_dose_interval,
    say_fixed,
    say_interval,
    say_level,
    say_list,
    say_number,
    say_p,
    say_percent,
    say_setting,
    say_share,
    say_signed,
    writing,
    written,
)

NUMBERS = st.floats(-1e6, 1e6)


def test_every_way_of_saying_a_number_takes_the_comma():
    with writing(decimal=","):
        assert say_number(8.2134, 0.51) == "8,21"
        assert say_number(0.001234) == "0,00123"
        assert say_fixed(2.5, 2) == "2,50"
        assert say_digits(0.12345, 3) == "0,123"
        assert say_percent(0.1234, 1) == "12,3 %"
        assert say_signed(1.25, 0.1) == "+1,25"
        assert say_level(2.50) == "2,5"
        assert say_share(0.975) == "97,5 %"
        assert say_count(1.5, "bake") == "1,5 bakes"
        assert [say_p(p) for p in (0.0001, 0.0123, 0.999)] == ["p < 0,001", "p = 0,012", "p > 0,99"]
        assert say_interval(1.31, 2.04, 0.95) == "95 % interval 1,31 to 2,04"
        assert say_dose_interval(1.3, 2.0, 0.95) == "95 % interval 1,3 to 2,0"


def test_what_is_nothing_has_no_sign_and_no_comma():
    with writing(decimal=","):
        assert say_signed(0.0001, 5) == "0,0"
        assert say_level(-0.0) == "0"


def test_a_level_that_is_text_is_the_bakers_own():
    with writing(decimal=","):
        assert say_level("brand 1.5") == "brand 1.5"


def test_lists_stay_readable_beside_decimal_commas():
    levels = [2.5, 3, 3.5]
    assert join_words([say_level(level) for level in levels]) == "2.5, 3 and 3.5"
    with writing(decimal=","):
        assert join_words([say_level(level) for level in levels]) == "2,5; 3 and 3,5"
        assert say_list([say_level(level) for level in levels]) == "2,5; 3; 3,5"
        assert join_words(["1", "2", "3"]) == "1, 2 and 3"


def test_the_wish_ends_with_its_page_even_when_the_page_fails():
    try:
        with writing(decimal=",", temperature="F") as wish:
            assert written() == wish
            raise ValueError
    except ValueError:
        assert say_level(2.5) == "2.5"
        assert written().temperature == "C"


def test_two_threads_write_each_in_its_own_way():
    said = {}
    with writing(decimal=","):
        other = threading.Thread(target=lambda: said.update(other=say_level(2.5)))
        other.start()
        other.join()
        said["own"] = say_level(2.5)
    assert said == {"own": "2,5", "other": "2.5"}


@given(NUMBERS, st.floats(1e-4, 1e4))
def test_only_the_mark_differs_and_both_read_back_as_the_same_number(value, step):
    ways = (lambda: say_number(value, step), lambda: say_number(value), lambda: say_fixed(value, 3))
    for way in ways:
        point = way()
        with writing(decimal=","):
            comma = way()
        assert comma == point.replace(".", ",")
        if "e" not in point:
            assert number_shown(comma) == number_shown(point) == float(point)


def test_a_setting_in_celsius_is_said_in_fahrenheit_where_that_is_wished_for():
    # Fixed points: water freezes at 32 °F and boils at 212 °F (by the definition of the scale).
    assert say_setting(100.0, "°C") == "100 °C"
    with writing(temperature="F", decimal=","):
        assert [say_setting(value, "°C") for value in (0, 100, 177.5)] == ["32 °F", "212 °F", "351,5 °F"]
        assert say_setting(2.5, "% flour") == "2,5 % flour"
        assert say_setting("hot", "°C") == "hot °C"
