"""Bends, blends and what screenings leave out: said as they are, never as a plain more or less."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.results import Check, Finding
from analysis.words import headline, say_check, say_finding, say_term

RISE = Response(name="rise", unit="mm", matters=2.0)
BEND = Finding(
    kind="bend",
    response="rise",
    variables=("soda",),
    size=6.0,
    low=5.0,
    high=7.0,
    unit="mm",
    direction="up",
    matters="yes",
    facts={"factor_kind": "amount", "factor_unit": "%", "from": "1", "to": "3"},
)


def surface(height):
    """3 × 3 doses of soda and fat, twice, with a little scatter."""
    soda, fat = np.tile([1.0, 2.0, 3.0], 6), np.repeat([1.0, 2.0, 3.0], 6)
    noise = np.random.Generator(np.random.PCG64(2)).normal(0, 0.1, 18)
    table = pd.DataFrame({"soda": soda, "fat": fat, "rise": height(soda, fat) + noise}).assign(bake=range(18))
    factors = (Factor(name="soda", kind="amount", unit="%"), Factor(name="fat", kind="amount", unit="%"))
    return analyse(table, Question(factors=factors, responses=(RISE,), model="quadratic", bake="bake"))


def blend(height):
    rows = np.array([(100, 0, 0), (0, 100, 0), (0, 0, 100), (50, 50, 0), (50, 0, 50), (0, 50, 50)] * 2, dtype=float)
    noise = np.random.Generator(np.random.PCG64(2)).normal(0, 0.1, 12)
    table = pd.DataFrame(rows, columns=["wheat", "rye", "oat"])
    table = table.assign(rise=height(*(rows / 100).T) + noise, bake=range(12))
    factors = tuple(Factor(name=name, kind="share", unit="%") for name in ("wheat", "rye", "oat"))
    return analyse(table, Question(factors=factors, responses=(RISE,), bake="bake"))


def test_a_bend_in_the_headline_is_no_more_or_less():
    said = headline(surface(lambda soda, fat: 40 - 6 * (soda - 2) ** 2))
    assert said.startswith("In the middle of the soda range (from 1 to 3 %) rise lies above the straight line")
    assert "raised" not in said


def test_a_bend_that_is_no_change_between_the_ends_is_not_called_none():
    answer = surface(lambda soda, fat: 40 - 6 * (soda - 2) ** 2)
    said = [say_finding(finding, RISE) for finding in answer.findings]
    assert any("from its lowest to its highest, soda changes rise by less than" in words.lower() for words in said)
    assert not any("any difference that soda makes" in words.lower() for words in said)


def test_a_blend_in_the_headline_says_what_blending_does():
    said = headline(blend(lambda wheat, rye, oat: 40 + 60 * (wheat * rye + wheat * oat + rye * oat) - 20 * wheat * rye))
    assert said.startswith("An even blend of")
    assert "than the mean of its parts" in said
    assert "raised" not in said


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({}, "lies above the straight line: +6.0 mm (95 % interval 5.0 to 7.0), more than the 2 mm that matters"),
        ({"size": -6.0, "low": -7.0, "high": -5.0}, "lies below the straight line"),
        ({"low": 1.0, "high": 11.0, "matters": "unsure"}, "but this trial cannot tell whether by as much as the 2 mm"),
        ({"low": -1.0, "high": 13.0, "matters": "unsure"}, "This trial cannot tell whether rise bends over soda"),
        ({"size": 0.5, "low": -0.5, "high": 1.5, "matters": "no"}, "bends by less than the 2 mm that matters"),
    ],
)
def test_a_bend_is_told_by_its_interval(change, words):
    assert words in say_finding(replace(BEND, **change), RISE)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({}, "gives more rise than the mean of its parts"),
        ({"size": -6.0, "low": -7.0, "high": -5.0}, "gives less rise than the mean of its parts"),
        ({"low": 1.0, "high": 11.0, "matters": "unsure"}, "but this trial cannot tell whether by as much"),
        ({"low": -1.0, "high": 13.0, "matters": "unsure"}, "cannot tell whether a blend of wheat and rye"),
        ({"size": 0.5, "low": -0.5, "high": 1.5, "matters": "no"}, "gives within the 2 mm that matters"),
    ],
)
def test_a_blend_is_told_by_its_interval(change, words):
    found = replace(BEND, kind="blend", variables=("wheat", "rye"), facts={"order": 2}, **change)
    assert words in say_finding(found, RISE)


def test_an_open_bend_that_leaves_out_zero_is_the_headline():
    answer = surface(lambda soda, fat: 40 - 2 * (soda - 2) ** 2)
    assert "but this trial cannot tell if by the 2 mm" in headline(answer)
    assert "lies above the straight line" in headline(answer)


@pytest.mark.parametrize(
    ("check", "facts", "verdict", "words"),
    [
        ("partly mixed", {"mixed": (("a", "b:c", -1 / 3),), "in_error": True}, "look here", "0.33 of b with c for"),
        ("partly mixed", {"mixed": (), "bends": True}, "fine", "and bends were left out of the model, and nothing"),
        ("lack of fit", {"of": "surface", "tested": False, "df": 3}, "fine", "no treatment was baked twice"),
        ("lack of fit", {"of": "surface", "tested": False, "df": 0}, "fine", "passes through every treatment"),
        ("lack of fit", {"of": "surface", "tested": True, "p": 0.001}, "look here", "sharper bend"),
        ("alone not baked", {"shares": ("rye",)}, "fine", "rye was never baked alone"),
        ("alone not baked", {"shares": ()}, "fine", "each ingredient was baked alone"),
        ("dropped terms", {"terms": ("a:b",), "because": "never blended"}, "look here", "no bake blended them"),
    ],
)
def test_checks_of_surfaces_screenings_and_blends(check, facts, verdict, words):
    assert words.lower() in say_check(Check(check=check, verdict=verdict, facts=facts)).lower()


def test_a_square_is_called_by_its_name():
    assert say_term("soda^2") == "soda squared"
    assert say_term("soda:acid source") == "soda with acid source"
    assert say_term("soda^2:acid source") == "soda squared with acid source"
    assert say_term("soda^3") == "soda cubed"
    assert say_term("start 10:30") == "start 10:30"
