"""Does a level that was baked once borrow its scatter, where treatments need not scatter alike?"""

import numpy as np
import pandas as pd
import pytest

from analysis.linear import factor_model
from analysis.questions import Factor, Question, Response
from analysis.words import say_check

RISE = Response(name="rise")
LEVELS = ("oat", "rye", "spelt", "wheat")
ASKED = Question(
    factors=(Factor(name="flour", kind="category", levels=LEVELS),), responses=(RISE,), unequal_spread=True
)
FLOUR = ["oat"] + [level for level in LEVELS[1:] for _ in range(8)]


def answered(rise):
    n = len(FLOUR)
    frame = pd.DataFrame(
        {
            "flour": pd.Categorical(FLOUR, categories=LEVELS, ordered=True),
            "rise": rise,
            "bake": [str(i) for i in range(n)],
            "order": np.arange(n),
            "readings": 1,
        }
    )
    return factor_model(frame, RISE, ASKED)


def test_its_mean_is_as_sure_as_one_bake_of_the_scatter_of_all():
    result = answered(np.random.default_rng(3).normal(50, 2, len(FLOUR)))
    means = {line.level: line for line in result.means}
    assert means["oat"].se == pytest.approx(result.residual.sd, rel=1e-12)
    assert means["oat"].df == pytest.approx(21)
    check = next(check for check in result.checks if check.check == "scatter of each")
    assert (check.verdict, check.facts["alone"]) == ("look here", 1)
    assert "no scatter of its own" in say_check(check)
    own = np.std(result.points[1].observed - np.array([point.observed for point in result.points[1:9]]), ddof=1)
    assert means["rye"].se == pytest.approx(own / np.sqrt(8), rel=1e-9)


def test_a_lone_bake_like_the_others_is_seldom_found_to_differ():
    """It was taken for a bake without scatter once, and then stood out from the others in most draws."""
    rng = np.random.default_rng(11)
    wrong = terms = 0
    for _ in range(150):
        result = answered(rng.normal(50, 2, len(FLOUR)))
        lone = [line for line in result.comparisons if "oat" in (line.a, line.b)]
        wrong += any(line.p_adjusted < 0.05 for line in lone)
        terms += result.tests[0].p < 0.05
    assert wrong <= 17  # 5 % of 150 and three standard errors and a bit
    assert terms <= 17
