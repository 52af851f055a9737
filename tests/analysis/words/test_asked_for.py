"""Is what was asked for said: each level beside the reference, chosen contrasts, pairs held against a margin?"""

import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Margin, Question, Response
from analysis.words import analysis_text

MEANS = {"cream": 40.0, "mono": 44.0, "pyro": 41.0}


def said(*, reference=None, **response):
    scatter = np.tile([-0.5, 0.5, -0.5, 0.5], 3)
    acids = np.repeat(list(MEANS), 4)
    table = pd.DataFrame({"acid": acids, "rise": np.array([MEANS[acid] for acid in acids]) + scatter})
    question = Question(
        factors=(Factor(name="acid", kind="category", reference=reference),),
        responses=(Response(name="rise", unit="mm", **response),),
    )
    return " ".join(analysis_text(analyse(table, question)).split())


def test_each_level_stands_beside_the_reference_with_its_interval():
    text = said(reference="cream")
    # Dunnett, two against a control on 9 df: 2.61; the standard error is 0.5774 sqrt(2 / 4) = 0.4082.
    assert "Rise, each acid less cream (adjusted for comparing each with the reference): " in text
    assert "mono +4.0 mm (95 % interval 2.9 to 5.1) and pyro +1.0 mm (95 % interval −0.1 to 2.1)" in text
    assert "each acid less" not in said()


@pytest.mark.parametrize(
    ("margin", "says"),
    [
        (Margin(low=-1.5, high=1.5), "Mono is not within 1.5 mm of cream for rise: a difference of +4"),
        (Margin(low=0.95, high=1.05, ratio=True), "Mono is not within 95 to 105 % of cream for rise: 110"),
    ],
)
def test_more_than_the_margin_is_not_called_worse(margin, says):
    text = said(reference="cream", margin=margin)
    assert says in text
    assert "not as good" not in text


def test_a_trend_says_that_it_is_no_slope():
    soda = np.tile(["2", "4", "6"], 4)
    table = pd.DataFrame({"soda": soda, "rise": soda.astype(float) + np.tile([0.1, -0.1, 0.2, 0.3, 0.0, -0.2], 2)})
    question = Question(
        factors=(Factor(name="soda", kind="category"),),
        responses=(Response(name="rise"),),
        contrasts=("soda: linear",),
    )
    assert "its size is no slope" in " ".join(analysis_text(analyse(table, question)).split())


def test_tasters_without_spread_of_their_own_are_said():
    yes = np.array([0, 1, 1, 0, 1, 0, 0, 1, 1, 0, 0, 1, 1, 0, 0, 1, 1, 0, 0, 1, 0, 1, 0, 1])  # mostly unlike in pairs
    table = pd.DataFrame({"recipe": ["A", "B"] * 12, "taster": [f"t{n // 2}" for n in range(24)], "bad": yes})
    question = Question(
        factors=(Factor(name="recipe", kind="category"),),
        responses=(Response(name="bad", scale="yes-no"),),
        group=("taster",),
        kind="score",
    )
    text = " ".join(analysis_text(analyse(table, question)).split())
    assert "Readings of one taster are no more alike than others; its spread came out as 0" in text


def test_a_dose_where_groups_differ_is_that_of_a_typical_group():
    rows = [(salt, f"d{day}", day) for day in range(6) for salt in (0.0, 1.0, 2.0, 3.0)]
    shares = {0.0: 0.9, 1.0: 0.6, 2.0: 0.25, 3.0: 0.08}
    tilt = (-0.3, -0.2, -0.1, 0.1, 0.2, 0.3)
    yes = [round(40 * min(0.99, max(0.01, shares[salt] + tilt[day] * shares[salt]))) for salt, _, day in rows]
    table = pd.DataFrame({"salt": [r[0] for r in rows], "day": [r[1] for r in rows], "mould": yes, "n": 40.0})
    question = Question(
        factors=(Factor(name="salt", kind="amount"),),
        responses=(Response(name="mould", scale="yes-no"),),
        group=("day",),
        weights="n",
        dose="salt",
        kind="score",
    )
    text = " ".join(analysis_text(analyse(table, question)).split())
    assert "averages over every day" in text
    assert "With a typical day, 50 % yes is reached at" in text
