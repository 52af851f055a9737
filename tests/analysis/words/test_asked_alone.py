"""Where it was asked that each factor stand by itself, the lack of fit says what that hides."""

from __future__ import annotations

from itertools import product

import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.results import Finding
from analysis.words import say_check, say_finding


@pytest.mark.parametrize("asked", [{"order": 1}, {"model": "main effects", "order": 1}])
def test_what_was_refused_is_not_advised(asked):
    chance = np.random.Generator(np.random.PCG64(4))
    table = pd.DataFrame(list(product("ab", "xy")) * 6, columns=["soda", "acid"])
    table["rise"] = 40 + 5.0 * ((table["soda"] == "b") & (table["acid"] == "y")) + chance.normal(0, 0.5, len(table))
    factors = (Factor(name="soda", kind="category"), Factor(name="acid", kind="category"))
    question = Question(factors=factors, responses=(Response(name="rise", unit="mm", matters=1.0),), **asked)
    check = next(one for one in analyse(table, question).responses[0].checks if one.check == "lack of fit")
    said = say_check(check)
    assert check.verdict != "fine"
    assert "As was asked, each factor was fitted by itself" in said
    assert "depends on another, or bends, stays hidden" in said
    assert "sharper bend" not in said


def test_a_product_with_a_blend_names_all_shares_and_the_one_that_matters_most():
    finding = Finding(
        kind="interaction",
        response="rise",
        variables=("oven", "oat"),
        size=4.0,
        low=2.0,
        high=6.0,
        unit="mm",
        direction="up",
        matters="yes",
        facts={"of": "oven", "by": "oat", "shares": ("wheat", "oat", "rye")},
    )
    said = say_finding(finding, Response(name="rise", unit="mm"))
    assert "depends on the blend of wheat, oat and rye, most of all on its oat" in said
