"""Chosen contrasts, margins and predictions: what is asked is what is answered, and nonsense is refused."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.errors import TrialDataError
from analysis.questions import Factor, Margin, Question, Response
from analysis.words import analysis_text

ACIDS = ("lemon juice", "yogurt", "cream of tartar")


def bakes(seed=1, shift=0.0, sd=1.0):
    chance = np.random.Generator(np.random.PCG64(seed))
    rows = [(soda, acid) for soda in (0.5, 1.0, 1.5) for acid in ACIDS for _ in range(3)]
    table = pd.DataFrame(rows, columns=["soda", "acid"])
    slope = table["acid"].map({"lemon juice": 2.0, "yogurt": 6.0, "cream of tartar": 2.0})
    table["rise"] = 40 + slope * table["soda"] + shift * (table["acid"] == "yogurt") + chance.normal(0, sd, len(table))
    return table


def question(**more):
    response = more.pop("response", Response(name="rise", unit="mm"))
    factors = (Factor(name="soda", kind="amount", unit="%"), Factor(name="acid", kind="category", levels=ACIDS))
    return Question(factors=factors, responses=(response,), kind="factors", **more)


def family(table, asked):
    return analyse(table, asked).responses[0].family


def test_a_slope_is_told_at_each_level_that_changes_it():
    found = family(bakes(sd=1e-4), question(contrasts=("soda: slope",))).contrasts
    at = {one.at.get("acid"): one for one in found}
    assert set(at) == {None, *ACIDS}
    truth = {"lemon juice": 2.0, "yogurt": 6.0, "cream of tartar": 2.0, None: 10 / 3}
    assert {level: at[level].estimate for level in truth} == pytest.approx(truth, abs=1e-3)


def test_a_weighted_contrast_is_the_difference_of_the_means():
    asked = question(contrasts=("acid: yogurt = 1, lemon juice = -1/2, cream of tartar = -1/2",))
    answer = family(bakes(), asked)
    means = {m.level: m.mean for m in answer.means if m.factor == "acid" and not m.at}
    wanted = means["yogurt"] - (means["lemon juice"] + means["cream of tartar"]) / 2
    assert answer.contrasts[0].estimate == pytest.approx(wanted, rel=1e-10)


@pytest.mark.parametrize(
    "text",
    ["acid: yogurt = 1", "acid: milk = 1, yogurt = -1", "acids: yogurt = 1, lemon juice = -1", "acid: slope",
     "acid: linear", "soda: quartic", "acid: yogurt = x, lemon juice = -1", "acid"],
)  # fmt: skip
def test_a_contrast_that_makes_no_sense_is_refused(text):
    with pytest.raises(TrialDataError) as refused:
        family(bakes(), question(contrasts=(text,)))
    assert refused.value.try_this


def test_no_difference_is_never_said_without_a_margin():
    alike = bakes(shift=0.0, sd=0.2)
    alike["rise"] = 40 + np.random.Generator(np.random.PCG64(2)).normal(0, 0.2, len(alike))
    assert "as good" not in analysis_text(analyse(alike, question()))
    margin = Response(name="rise", unit="mm", margin=Margin(low=-1, high=1))
    said = analysis_text(analyse(alike, question(response=margin)))
    assert "as good" in said
    assert "no difference" not in said


@pytest.mark.parametrize(("true", "share"), [(0.0, 0.55), (1.0, 0.05)])
def test_the_margin_is_claimed_as_often_as_it_should_be(true, share):
    """At the margin itself 5 % of trials say "as good"; at no difference most do (8 bakes each, SD 0.7)."""
    claimed = []
    for seed in range(300):
        chance = np.random.Generator(np.random.PCG64(seed))
        table = pd.DataFrame({"acid": ["yogurt"] * 8 + ["lemon juice"] * 8, "rise": chance.normal(0, 0.7, 16)})
        table.loc[:7, "rise"] += true
        asked = Question(
            factors=(Factor(name="acid", kind="category", levels=("lemon juice", "yogurt")),),
            responses=(Response(name="rise", margin=Margin(low=-1, high=1)),),
        )
        claimed.append(family(table, asked).equivalence[0].equivalent == "yes")
    assert abs(np.mean(claimed) - share) < 0.045 if true else np.mean(claimed) > share


def test_dunnett_holds_its_error_over_all_comparisons():
    wrong = 0
    for seed in range(400):
        chance = np.random.Generator(np.random.PCG64(seed))
        table = pd.DataFrame({"acid": np.repeat(["a", "b", "c", "d"], [8, 5, 5, 5]), "rise": chance.normal(size=23)})
        factor = Factor(name="acid", kind="category", levels=("a", "b", "c", "d"), reference="a")
        found = family(table, Question(factors=(factor,), responses=(Response(name="rise"),))).comparisons
        assert all(one.b == "a" for one in found)
        wrong += min(one.p_adjusted for one in found) < 0.05
    assert 0.028 < wrong / 400 < 0.078  # 5 % within two standard errors of 400 draws


def test_a_prediction_at_a_baked_treatment_is_its_fitted_value():
    table = bakes()
    answer = family(table, question())
    assert answer.predictor is not None
    settings = pd.DataFrame([dict(point.settings) for point in answer.points])
    assert answer.predictor.mean(settings) == pytest.approx([point.fitted for point in answer.points], rel=1e-10)
    draws = answer.predictor.draws(settings, count=4000, seed=1)
    spread = answer.predictor.se(settings) * np.sqrt(answer.predictor.df / (answer.predictor.df - 2))
    assert draws.std(axis=0) == pytest.approx(spread, rel=0.08)


def test_a_prediction_for_an_unknown_level_is_refused():
    answer = family(bakes(), question())
    with pytest.raises(TrialDataError, match="milk"):
        answer.predictor.mean(pd.DataFrame({"soda": [1.0], "acid": ["milk"]}))
