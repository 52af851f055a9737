"""A strip-plot has three errors, each where the textbook puts it."""

import numpy as np
import pandas as pd
import pytest

from analysis.linear import factor_model
from analysis.questions import Factor, Question, Response

RISE = Response(name="rise", matters=2.0)
FACTORS = (
    Factor(name="batter", kind="category", levels=("a", "b", "c")),
    Factor(name="oven", kind="category", levels=("hot", "mild")),
)
ASKED = Question(factors=FACTORS, responses=(RISE,), blocks=("day",), strips=("batch", "load"))


def strip_plot(rng, days=4, sd=(1.0, 1.0, 1.0), effect=0.0):
    rows = []
    for day in range(days):
        batch = {b: rng.normal(0, sd[0]) for b in "abc"}
        load = {o: rng.normal(0, sd[1]) for o in ("hot", "mild")}
        for b in "abc":
            for o in ("hot", "mild"):
                rise = 50 + batch[b] + load[o] + rng.normal(0, sd[2]) + effect * (o == "hot") + 0.5 * day
                rows.append((str(day + 1), f"{day}{b}", f"{day}{o}", b, o, rise))
    frame = pd.DataFrame(rows, columns=["day", "batch", "load", "batter", "oven", "rise"])
    for name, levels in (("day", None), ("batter", list("abc")), ("oven", ["hot", "mild"])):
        frame[name] = pd.Categorical(frame[name], categories=levels or sorted(frame[name].unique()), ordered=True)
    return frame.assign(bake=[str(i) for i in range(len(frame))], order=range(len(frame)), readings=1)


def test_each_term_is_judged_by_its_own_strips():
    frame = strip_plot(np.random.Generator(np.random.PCG64(2)))
    found = factor_model(frame, RISE, ASKED)
    tests = {test.term: test for test in found.tests}
    # Cochran & Cox 1957, 7.3: (a-1)(r-1), (b-1)(r-1) and (a-1)(b-1)(r-1) error df for a = 3, b = 2, r = 4.
    assert (tests["batter"].stratum, tests["batter"].df_error) == ("batch", 6)
    assert (tests["oven"].stratum, tests["oven"].df_error) == ("load", 3)
    assert (tests["batter:oven"].stratum, tests["batter:oven"].df_error) == ("bakes", 6)
    assert found.residual.df == 6


def test_sums_of_squares_are_those_of_the_balanced_table():
    frame = strip_plot(np.random.Generator(np.random.PCG64(7)))
    found = factor_model(frame, RISE, ASKED)
    tests = {test.term: test for test in found.tests}
    y = frame["rise"].to_numpy().reshape(4, 3, 2)  # day, batter, oven
    mean = y.mean()
    a, b, r = y.mean((0, 2)) - mean, y.mean((0, 1)) - mean, y.mean((1, 2)) - mean
    ra = y.mean(2) - mean - r[:, None] - a
    rb = y.mean(1) - mean - r[:, None] - b
    ab = y.mean(0) - mean - a[:, None] - b
    left = y - mean - r[:, None, None] - a[:, None] - b - ra[:, :, None] - rb[:, None, :] - ab
    assert tests["batter"].sum_sq == pytest.approx(8 * (a**2).sum())
    assert tests["oven"].sum_sq == pytest.approx(12 * (b**2).sum())
    assert tests["batter:oven"].sum_sq == pytest.approx(4 * (ab**2).sum())
    assert found.residual.sum_sq == pytest.approx((left**2).sum())
    assert tests["batter"].value == pytest.approx(8 * (a**2).sum() / 2 / (2 * (ra**2).sum() / 6))
    assert tests["oven"].value == pytest.approx(12 * (b**2).sum() / (3 * (rb**2).sum() / 3))
    fitted = np.array([point.fitted for point in found.points])
    assert fitted.sum() == pytest.approx(frame["rise"].sum())


def test_nothing_is_found_too_often_where_nothing_is():
    # 400 trials without an effect: each test errs in 5 %, within three standard errors of that.
    rng = np.random.Generator(np.random.PCG64(11))
    wrong = {"batter": 0, "oven": 0, "batter:oven": 0}
    for _ in range(400):
        found = factor_model(strip_plot(rng, sd=(2.0, 2.0, 1.0)), RISE, ASKED)
        for test in found.tests:
            if test.term in wrong:
                wrong[test.term] += test.p < 0.05
    assert all(count / 400 < 0.05 + 3 * (0.05 * 0.95 / 400) ** 0.5 for count in wrong.values()), wrong


def test_a_missing_run_is_no_hindrance():
    frame = strip_plot(np.random.Generator(np.random.PCG64(3)), sd=(2.0, 2.0, 1.0))
    whole, gap = factor_model(frame, RISE, ASKED), factor_model(frame.iloc[1:], RISE, ASKED)
    assert (whole.model.df_method, gap.model.df_method) == ("strata", "Kenward-Roger")
    assert [line.group for line in gap.variances] == ["load", "batch", "residual"]
    strata = {test.term: test.stratum for test in gap.tests}
    assert strata == {"day": "batch", "batter": "batch", "oven": "load", "batter:oven": "bakes"}
    before = {test.term: test for test in whole.tests}
    for test in gap.tests[1:]:
        assert test.df_error == pytest.approx(before[test.term].df_error, rel=0.25)
