"""Constraints are read as arithmetic, never run, and say where they stop making sense."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.designs.constraints import read_constraints
from analysis.errors import PlanError

FACTORS = {"soda": (), "powder": (), "rye": (), "rye flour": (), "acid source": ("yogurt", "lemon juice")}


def one(text):
    return read_constraints([text], FACTORS)[0]


def holds(text, **columns):
    named = {name.replace("_", " "): np.array([value]) for name, value in columns.items()}
    return bool(one(text).holds(named)[0])


@pytest.mark.parametrize(
    ("text", "values", "expected"),
    [
        ("soda + powder <= 3", {"soda": 1.0, "powder": 2.0}, True),
        ("soda + powder < 3", {"soda": 1.0, "powder": 2.0}, False),
        ("0.1 + soda <= 0.3", {"soda": 0.2}, True),
        ("soda ≥ 2 * (powder - 1)", {"soda": 1.0, "powder": 1.5}, True),
        ("soda - powder - 1 = 0", {"soda": 3.0, "powder": 2.0}, True),
        ("-soda ^ 2 >= -4", {"soda": 2.0}, True),  # the power binds closer than the sign
        ("soda / powder <= 2", {"soda": 3.0, "powder": 0.0}, False),
        ("rye flour <= 10", {"rye_flour": 12.0, "rye": 1.0}, False),
        ('acid source = "yogurt" and soda > 2', {"acid_source": "yogurt", "soda": 2.5}, True),
        ('not (acid source = "lemon juice" and soda > 2)', {"acid_source": "lemon juice", "soda": 2.5}, False),
        ('acid source != "yogurt" or soda <= 1', {"acid_source": "yogurt", "soda": 1.0}, True),
        ("(soda + powder) * 2 <= 6 and (soda <= 1 or powder <= 1)", {"soda": 2.0, "powder": 1.0}, True),
    ],
)
def test_a_constraint_holds_or_not(text, values, expected):
    assert holds(text, **values) is expected


@given(st.floats(0, 5), st.floats(0, 5), st.floats(0, 5))
def test_a_linear_bound_says_the_same_as_the_sentence(soda, powder, rye):
    constraint = one("2 * soda - powder / 4 + 1 >= rye - 3")
    columns = {"soda": np.array([soda]), "powder": np.array([powder]), "rye": np.array([rye])}
    slack = constraint.bound - sum(weight * columns[name][0] for name, weight in constraint.coefficients.items())
    if abs(slack) > 1e-6:
        assert bool(constraint.holds(columns)[0]) is bool(slack >= 0)
    assert constraint.factors == {"soda", "powder", "rye"}


@pytest.mark.parametrize("text", ["soda * powder <= 2", "soda = 1", "soda <= 1 or powder <= 1", "not soda <= 1"])
def test_what_is_no_linear_bound_gives_none(text):
    assert one(text).coefficients is None


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("soda + powder", "comparison"),
        ("soda <=", "number or a factor"),
        ("sodda <= 2", "number or a factor"),
        ("soda <= 2 powder", "nothing more"),
        ("acid source <= 2", "compared with a level"),
        ('acid source = "yoghurt"', "no level"),
        ("acid source = yogurt", "in quotes"),
        ("(soda <= 2", "cannot be read"),
        ("__import__('os').system('x') <= 2", "number or a factor"),
        ("(" * 60 + "soda" + ")" * 60 + " <= 2", "too deep"),
        ("soda <= " + "1 + " * 200 + "1", "too long"),
        ("", "number or a factor"),
    ],
)
def test_what_cannot_be_read_says_where(text, match):
    with pytest.raises(PlanError, match=match) as caught:
        one(text)
    assert caught.value.where == "constraint"
    assert caught.value.try_this


def test_a_misspelt_factor_names_the_nearest():
    with pytest.raises(PlanError) as caught:
        one("sodda + powder <= 2")
    assert "soda" in caught.value.try_this


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused_in_words(text):
    try:
        read = one(text)
    except PlanError as refused:
        said = refused.what
    else:
        said = f"The constraint {read.text}"
    assert said.startswith("The constraint")
