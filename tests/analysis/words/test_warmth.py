"""A baker with an oven in °F can read a page in °C."""

import re

import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.words.next_bakes import say_treatment
from analysis.words.numbers import with_warmth, writing
from analysis.words.warmth import say_warmth

BAKED = [(oven, way) for oven in (170.0, 190.0) for way in ("by hand", "whisk")]


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


def test_a_treatment_has_its_temperature_in_both(answer):
    treatment = {"oven": 180.0, "acid": "yogurt", "soda": 1.5}
    assert say_treatment(treatment, answer.question) == "oven 180 °C, acid yogurt, soda 1.5"
    with writing(temperature="F"):
        assert say_treatment(treatment, answer.question) == "oven 180 °C (356 °F), acid yogurt, soda 1.5"


@pytest.mark.parametrize(
    ("said", "unit", "both"),
    [
        ("170 to 190.5", "°C", "170 to 190.5 °C (338 to 374.9 °F)"),
        ("186", "°C", "186 °C (367 °F)"),  # 366.8: no finer than what is said in °C
        ("-40", "°C", "-40 °C (-40 °F)"),  # where the scales meet
        ("170", "% flour", "170 % flour"),
        ("yogurt", "", "yogurt"),
    ],
)
def test_what_is_no_temperature_stays_as_it_is(said, unit, both):
    with writing(temperature="F"):
        assert with_warmth(said, unit) == both
    assert "°F" not in with_warmth(said, unit)


def test_a_page_names_treatments_in_both_and_is_the_same_otherwise():
    from reports.page import trial_report

    rows = [(oven, way, 40 + oven / 5 + 3 * (way == "whisk") + at % 3) for at, (oven, way) in enumerate(BAKED * 4)]
    factors = (Factor(name="oven", kind="amount", unit="°C"), Factor(name="mixing", kind="category"))
    question = Question(factors=factors, responses=(Response(name="rise", unit="mm", matters=2.0),), kind="factors")
    answer = analyse(pd.DataFrame(rows, columns=["oven", "mixing", "rise"]), question)
    plain = trial_report(answer, title="Oven", provenance={})
    with writing(temperature="F"):
        page = trial_report(answer, title="Oven", provenance={})
    assert "°F" not in plain
    assert "from 170 to 190\u00a0°C (338 to 374\u00a0°F)" in page  # what mattered
    assert "170, 190 (338, 374\u00a0°F)" in page  # the table of what was changed
    assert re.sub(r" \([\d.]+(?:(?:,| to| and) [\d.]+)*\u00a0°F\)", "", page) == plain
