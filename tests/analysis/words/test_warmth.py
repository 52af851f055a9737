"""A baker with an oven in °F can read a page in °C."""

import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.words.numbers import writing
from analysis.words.warmth import say_warmth


@pytest.fixture(scope="module")
def answer():
    rows = [(oven, 40 + oven / 50 + at % 3) for at, oven in enumerate([170.0, 180.0, 190.5] * 4)]
    factor = Factor(name="oven", kind="amount", unit="°C")
    question = Question(factors=(factor,), responses=(Response(name="rise", unit="mm"),), kind="factors")
    return analyse(pd.DataFrame(rows, columns=["oven", "rise"]), question)


def test_every_baked_setting_is_said_in_fahrenheit_and_a_difference_without_32(answer):
    with writing(temperature="F"):
        (said,) = say_warmth(answer)
    assert "oven 170 °C is 338 °F, 180 °C is 356 °F and 190.5 °C is 374.9 °F." in said
    assert said.endswith("A difference of 10 °C is 18 °F.")


def test_decimal_commas_stand_in_it_too(answer):
    with writing(temperature="F", decimal=","):
        (said,) = say_warmth(answer)
    assert "190,5 °C is 374,9 °F" in said
    assert "338 °F; 180 °C" in said


def test_nothing_is_said_where_celsius_is_wished_for(answer):
    assert say_warmth(answer) == ()
