"""Do covariates, weights, scales, unequal scatter and robust fits agree with what others computed?

Sources: ``linear_depth/linear_depth.R`` (R 4.2.2, MASS, emmeans; the script stands beside its figures; the
loaves are invented); ``anova/bread_rise_oneway`` (Lawson 2014, Design and Analysis of Experiments with R,
ch. 2; figures from R 4.2.2); ``anova/copper_flour_robust`` (Analytical Methods Committee 1989, MASS::chem);
``anova/warpbreaks_twoway`` (Tippett 1950); ``blocks_latin_bib/orchardsprays_latin8`` (Finney 1947), all by
R 4.2.2.
"""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.linear.box_cox import best_power
from analysis.linear.influence import moved_by_each
from analysis.linear.normality import shapiro_wilk
from analysis.linear.robust import huber_location

HERE = Path(__file__).parent
DEPTH = "linear_depth/loaf_depth"


@pytest.fixture(scope="module")
def expected():
    return json.loads((HERE / f"{DEPTH}.json").read_text())["expected"]


def loaves(analyse, *, categories=("flour", "fat"), **asked):
    return analyse(DEPTH, "volume", categories=categories, **asked)


def assert_means(answer, rows, mean="emmean", rel=1e-8):
    found = answer.means("flour")
    for row in rows.values():
        one = found[row["flour"]]
        assert one.mean == pytest.approx(row[mean], rel=rel)
        assert (one.low, one.high) == pytest.approx((row["lower.CL"], row["upper.CL"]), rel=rel)
        if "SE" in row:
            assert (one.se, one.df) == pytest.approx((row["SE"], row["df"]), rel=rel)


def test_a_covariate_gives_its_slope_and_adjusted_means(analyse, expected):
    answer, figures = loaves(analyse, covariates=("temperature",)), expected["ancova"]
    assert_means(answer, figures["means"])
    part = next(part for part in answer.result.parts if part.key == "covariates")
    slope = part.covariates[0]
    assert (slope.slope, slope.se, slope.p) == pytest.approx([figures["slope"][i] for i in (0, 1, 3)], rel=1e-8)
    assert (slope.low, slope.high) == pytest.approx(figures["ci"], rel=1e-8)
    assert slope.mean == pytest.approx(figures["mean_temperature"], rel=1e-12)
    assert slope.moved_p == pytest.approx(figures["moved_p"], rel=1e-8)
    assert answer.tests["flour"].sum_sq == pytest.approx(figures["f_flour"], rel=1e-8)
    assert answer.result.residual.mean_sq == pytest.approx(figures["sigma2"], rel=1e-8)


def test_weighted_least_squares(analyse, expected):
    answer, figures = loaves(analyse, weights="pieces"), expected["weighted"]
    assert_means(answer, figures["means"])
    left = answer.result.residual
    assert (left.mean_sq, left.r_squared, left.df) == pytest.approx(
        (figures["sigma2"], figures["r_squared"], figures["df"]), rel=1e-8
    )
    line = answer.tests["flour:fat"]
    assert (line.value, line.p) == pytest.approx((figures["f_interaction"], figures["p_interaction"]), rel=1e-8)


def test_hc2_with_its_own_degrees_of_freedom(analyse, expected):
    answer = loaves(analyse, covariates=("temperature",), unequal_spread=True, order=1)
    part = next(part for part in answer.result.parts if part.key == "covariates")
    slope, figures = part.covariates[0], expected["hc2"]
    assert (slope.slope, slope.se) == pytest.approx((figures["slope"], figures["se"]), rel=1e-8)
    line = answer.tests["temperature"]
    assert line.df_error == pytest.approx(figures["df"], rel=1e-8)
    assert line.value == pytest.approx((figures["slope"] / figures["se"]) ** 2, rel=1e-8)
    assert answer.result.model.df_method == "HC2"


def test_box_cox_of_a_two_way_model(analyse, expected):
    # The grid of the script has steps of 0.0005.
    figures = expected["box_cox"]
    answer = loaves(analyse, transform="auto")
    facts = answer.checks()["transformation"].facts
    assert (facts["power"], facts["low"], facts["high"]) == pytest.approx(
        (figures["best"], figures["low"], figures["high"]), abs=6e-4
    )
    assert facts["chosen"] == answer.result.model.transform == "square root"


def test_logarithms_are_undone_to_medians_and_ratios(analyse, expected):
    figures = expected["log"]
    answer = loaves(analyse, transform="log")
    assert_means(answer, figures["means"], mean="response")
    effect = next(f for f in answer.result.evidence if f.variables == ("fat",))
    assert effect.facts["ratio"] == pytest.approx(figures["fat"], rel=1e-8)
    means = answer.means("fat")
    assert effect.size == pytest.approx(means["oil"].mean - means["butter"].mean, rel=1e-9)
    assert 0 < effect.low < effect.size < effect.high


def test_welch_and_games_howell(analyse, expected):
    figures = expected["welch"]
    answer = loaves(analyse, categories=("flour",), unequal_spread=True)
    line = answer.tests["flour"]
    assert (line.value, line.df, line.df_error, line.p) == pytest.approx(
        (figures["f"], *figures["df"], figures["p"]), rel=1e-8
    )
    for pair, row in figures["games_howell"].items():
        a, b = pair.split("-")
        found = {frozenset(key): value for key, value in answer.comparisons("flour").items()}[frozenset((a, b))]
        sign = 1 if found.a == a else -1
        ends = sorted((sign * found.low, sign * found.high))
        assert (sign * found.difference, *ends) == pytest.approx(row[:3], rel=1e-6)
        assert found.p_adjusted == pytest.approx(row[4], rel=1e-5, abs=1e-11)
        assert found.method == "Games-Howell"


def test_welch_of_the_bread_rise(analyse):
    answer = analyse("anova/bread_rise_oneway", "height", categories=["time"], unequal_spread=True)
    figures, line = answer.expected["welch"], answer.tests["time"]
    assert (line.value, line.df, line.df_error, line.p) == pytest.approx(
        (figures["F"], figures["df1"], figures["df2"], figures["p"]), rel=1e-9
    )


def test_box_cox_of_the_bread_rise(analyse):
    answer = analyse("anova/bread_rise_oneway", "height", categories=["time"], transform="auto")
    facts = answer.checks()["transformation"].facts
    assert facts["power"] == pytest.approx(answer.expected["boxcox_lambda"], abs=6e-4)
    assert answer.result.model.transform == "reciprocal square root"


def test_huber_location_of_copper_in_flour():
    values = pd.read_csv(HERE / "anova/copper_flour_robust.csv")["copper_ppm"].to_numpy()
    figures = json.loads((HERE / "anova/copper_flour_robust.json").read_text())
    location, scale = huber_location(values)
    assert location == pytest.approx(figures["expected"]["huber"], rel=figures["tolerance_rel"])
    assert scale == pytest.approx(figures["expected"]["mad"], rel=figures["tolerance_rel"])
    _, p = shapiro_wilk(values)
    assert p == pytest.approx(figures["expected"]["shapiro_p"], rel=1e-3)


@pytest.mark.parametrize("which", ["short", "middle", "long"])
def test_shapiro_and_wilk(expected, which):
    values = pd.read_csv(HERE / f"{DEPTH}.csv")["volume"].to_numpy()
    values = {"short": values[:9], "middle": values[:11], "long": values}[which]
    figures = expected["shapiro"][which]
    assert shapiro_wilk(values) == pytest.approx((figures["w"], figures["p"]), rel=1e-6)


def test_warpbreaks_on_logarithms_and_shapiro(analyse):
    answer = analyse("anova/warpbreaks_twoway", "breaks", categories=["wool", "tension"], transform="log")
    for term, row in answer.expected["logscale_anova"].items():
        if term in answer.tests:
            assert answer.tests[term].value == pytest.approx(row["F.value"], rel=1e-9)
    assert answer.result.residual.sum_sq == pytest.approx(
        answer.expected["logscale_anova"]["Residuals"]["Sum.Sq"], rel=1e-9
    )
    plain = analyse("anova/warpbreaks_twoway", "breaks", categories=["wool", "tension"])
    left = np.array([point.residual for point in plain.result.points])
    figures = plain.expected["shapiro"]
    assert shapiro_wilk(left) == pytest.approx((figures["W"], figures["p"]), rel=1e-6)
    # Nine bakes of each treatment weigh alike, so that the check's studentised residuals have the same W.
    assert plain.checks()["normality"].facts["w"] == pytest.approx(figures["W"], rel=1e-6)
    assert plain.checks()["transformation"].facts["chosen"] == "log"


def test_orchard_sprays_ask_for_logarithms_and_get_them(analyse):
    asked = {"categories": ["treatment"], "blocks": ["rowpos", "colpos"]}
    case = "blocks_latin_bib/orchardsprays_latin8"
    answer = analyse(case, "decrease", transform="log", **asked)
    line, figures = answer.tests["treatment"], answer.expected["log_anova"]
    assert line.value == pytest.approx(figures["treatment"]["F.value"], rel=1e-9)
    assert answer.tests["rowpos"].p == pytest.approx(figures["factor(rowpos)"]["Pr..F."], rel=1e-9)
    assert answer.result.residual.sum_sq == pytest.approx(figures["Residuals"]["Sum.Sq"], rel=1e-9)
    plain = analyse(case, "decrease", **asked)
    found = plain.checks()["transformation"]
    assert found.verdict == "look here"
    assert found.facts["chosen"] in ("log", "square root")


def test_what_a_bake_moves_is_what_leaving_it_out_moves(analyse, expected):
    answer = loaves(analyse, order=1, covariates=("temperature",))
    model = answer.result.predictor.model
    names = [point.bake for point in answer.result.points]
    slope = model.find(next(i for i, v in enumerate(model.variables) if v.covariate))
    stratum = model.strata[0]
    fit, variable = stratum.fit, model.variables[slope.members[0]]
    pull = model.only(slope, np.array([1 / variable.half])) @ fit.inverse @ fit.q.T
    shifts = pull * fit.residuals / (1 - fit.leverage)
    assert shifts == pytest.approx(expected["influence"]["dfbeta_slope"], rel=1e-8)
    moved = moved_by_each(model, names, 0.95)
    assert len(moved) == len(names)
    at = names.index(moved[0].bake)
    rows = pd.read_csv(HERE / f"{DEPTH}.csv").drop(index=at)
    x = np.column_stack(
        [np.ones(len(rows)), rows.temperature, rows.flour == "wheat", rows.flour == "spelt", rows.fat == "oil"]
    ).astype(float)
    beta = np.linalg.lstsq(x, rows.volume.to_numpy(), rcond=None)[0]
    without = {"fat": [beta[4]], "flour": [beta[2], beta[3], beta[3] - beta[2]]}[moved[0].term]
    assert min(abs(abs(moved[0].size + moved[0].shift) - abs(one)) for one in without) < 1e-8


def test_the_power_is_the_same_in_any_unit():
    rng = np.random.default_rng(4)
    y = np.exp(rng.normal(3, 0.4, 24))
    q = np.linalg.qr(np.column_stack([np.ones(24), np.repeat([0.0, 1.0], 12)]))[0]
    one, other = best_power(y, q), best_power(25.4 * y, q)
    assert (one.best, one.low, one.high) == pytest.approx((other.best, other.low, other.high), abs=1e-6)
