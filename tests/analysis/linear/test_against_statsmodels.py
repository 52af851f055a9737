"""Do unbalanced mixes of amounts, categories and blocks agree with an independent fitter?

statsmodels by formula, with sum-to-zero columns and amounts scaled as ours (its type 3
follows whatever coding it is given), on tables drawn at random.
"""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from statsmodels.stats.anova import anova_lm

FORMULA = "y ~ C(day, Sum) + (z + w + C(acid, Sum)) ** 2"
NAMES = {"C(day, Sum)": "day", "C(acid, Sum)": "acid", "z": "soda", "w": "water"}


def trial(seed):
    rng = np.random.default_rng(seed)
    n = 40
    columns = {
        "soda": rng.choice([1.0, 1.5, 4.0], n),
        "water": rng.uniform(60, 70, n).round(1),
        "acid": rng.choice(["lemon", "yogurt", "tartar"], n, p=[0.5, 0.3, 0.2]),
        "day": rng.choice(["mon", "tue", "wed"], n),
    }
    y = 20 + 2 * columns["soda"] + (columns["acid"] == "lemon") * columns["soda"] + rng.normal(size=n)
    return {**columns, "y": y}


def scaled(values):
    return (values - (values.min() + values.max()) / 2) / (np.ptp(values) / 2)


@pytest.mark.parametrize("kind", [2, 3])
@pytest.mark.parametrize("seed", range(5))
def test_sums_of_squares(answer, seed, kind):
    columns = trial(seed)
    result = answer(columns, amounts=["soda", "water"], categories=["acid"], blocks=("day",), squares=kind)
    frame = pd.DataFrame(columns).assign(z=scaled(columns["soda"]), w=scaled(columns["water"]))
    table = anova_lm(smf.ols(FORMULA, frame).fit(), typ=kind)
    found = {frozenset(line.term.split(":")): line for line in result.tests}
    rows = [row for row in table.index if row not in ("Intercept", "Residual")]
    assert len(rows) == len(found) == 7
    for row in rows:
        line = found[frozenset(NAMES[part] for part in row.split(":"))]
        assert (line.df, line.sum_sq) == pytest.approx((table.loc[row, "df"], table.loc[row, "sum_sq"]), rel=1e-7)
        assert line.p == pytest.approx(table.loc[row, "PR(>F)"], rel=1e-7)
    assert result.residual.sum_sq == pytest.approx(table.loc["Residual", "sum_sq"], rel=1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_type_one_takes_the_terms_in_the_order_of_the_question(answer, seed):
    # Model by model, as the formula parser would move categories before amounts.
    columns = trial(seed)
    result = answer(columns, amounts=["soda", "water"], categories=["acid"], blocks=("day",), squares=1)
    steps = ["C(day)", "soda", "water", "C(acid)", "soda:water", "soda:C(acid)", "water:C(acid)"]
    models = [" + ".join(["y ~ 1", *steps[:i]]) for i in range(len(steps) + 1)]
    left = [smf.ols(model, pd.DataFrame(columns)).fit().ssr for model in models]
    assert [line.sum_sq for line in result.tests] == pytest.approx((-np.diff(left)).tolist(), rel=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_predictions_and_means(answer, seed):
    columns = trial(seed)
    result = answer(columns, amounts=["soda", "water"], categories=["acid"], blocks=("day",))
    frame = pd.DataFrame(columns).assign(z=scaled(columns["soda"]), w=scaled(columns["water"]))
    fit = smf.ols(FORMULA, frame).fit()
    assert [point.fitted for point in result.points] == pytest.approx(fit.fittedvalues.tolist(), rel=1e-9)
    # The mean of lemon: predictions at the mean amounts, averaged over the three days.
    grid = pd.DataFrame({"day": ["mon", "tue", "wed"], "acid": "lemon", "z": frame["z"].mean(), "w": frame["w"].mean()})
    lemon = next(m for m in result.means if m.factor == "acid" and m.level == "lemon" and not m.at)
    assert lemon.mean == pytest.approx(fit.predict(grid).mean(), rel=1e-9)
    assert lemon.low < lemon.mean < lemon.high
