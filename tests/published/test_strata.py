"""Is each factor judged against the error of the level at which it was changed?

Sources stand in the JSON beside each data set: chocolate cake, Cochran & Cox 1957 (lme4::cake);
stools, nlme::ergoStool; catalyst in incomplete blocks, Montgomery ch. 4; Latin square,
datasets::OrchardSprays. All digits: R 4.2.2 (aov, lmerTest, pbkrtest, emmeans). Graeco-Latin
square: the printed sums of squares of Montgomery's propellant.
"""

import numpy as np
import pytest


@pytest.fixture(scope="module")
def cake(analyse):
    return analyse(
        "mixed_split_plot/cake_split_plot",
        "angle",
        categories=["recipe", "temperature"],
        group=["replicate", "recipe"],
    )


def test_cake_strata(cake):
    strata = cake.expected["strata"]
    for name, stratum, row in (
        ("recipe", "replicate_recipe", "recipe"),
        ("temperature", "within", "tempf"),
        ("recipe:temperature", "within", "recipe:tempf"),
    ):
        line, given = cake.tests[name], strata[stratum][row]
        assert line.df == given["Df"]
        assert line.df_error == strata[stratum]["Residuals"]["Df"]
        assert line.sum_sq == pytest.approx(given["Sum.Sq"], rel=1e-9)
        assert line.value == pytest.approx(given["F.value"], rel=1e-9)
        assert line.p == pytest.approx(given["Pr..F."], rel=1e-8)
    assert cake.tests["recipe"].stratum == "replicate+recipe"
    assert cake.tests["temperature"].stratum == "bakes"
    assert cake.result.residual.mean_sq == pytest.approx(strata["within"]["Residuals"]["Mean.Sq"], rel=1e-9)


def test_cake_variances_are_those_of_the_mean_squares(cake):
    # Balanced and none of them negative, so that REML is the analysis of variance (lme4 1.1-31, R 4.2.2).
    given = cake.expected["reml_two_terms"]["variances"]
    found = {line.group: line.variance for line in cake.result.variances}
    assert list(found)[-1] == "residual"
    for group, name in (
        ("replicate", "replicate"),
        ("replicate+recipe", "recipe:replicate"),
        ("residual", "Residual"),
    ):
        assert found[group] == pytest.approx(given[name], rel=1e-5)
    within = cake.result.residual.mean_sq
    batches = cake.tests["recipe"].mean_sq / cake.tests["recipe"].value
    replicates = cake.expected["strata"]["replicate"]["Residuals"]["Mean.Sq"]
    assert found["replicate+recipe"] == pytest.approx((batches - within) / 6, rel=1e-5)
    assert found["replicate"] == pytest.approx((replicates - batches) / (3 * 6), rel=1e-5)


def test_cake_means_allow_for_the_replicates_as_others(cake):
    # Replicates are random: the means hold for other batches and days too. Kenward-Roger's errors and df of
    # emmeans 1.8.4-1 are Satterthwaite's of the mean squares, as the trial is balanced.
    for level, given in cake.expected["reml_two_terms"]["emm_recipe_kr"].items():
        mean = cake.means("recipe")[level]
        assert (mean.mean, mean.se, mean.df, mean.low, mean.high) == pytest.approx(
            (given["emmean"], given["SE"], given["df"], given["lower.CL"], given["upper.CL"]), rel=1e-5
        )


def test_cake_pairs_of_recipes_and_temperatures(cake):
    # Balanced, so that Kenward-Roger and the strata give the same differences, errors and df.
    for pair, given in cake.expected["reml_two_terms"]["pairs_recipe_kr_tukey"].items():
        _agrees(cake.comparisons("recipe")[tuple(pair.split(" - "))], given, df=28)
    for pair, given in cake.expected["reml_two_terms"]["pairs_temp_kr_tukey"].items():
        a, b = pair.replace("tempf", "").split(" - ")
        _agrees(cake.comparisons("temperature")[a, b], given, df=210)


def _agrees(found, given, df):
    assert found.difference == pytest.approx(given["estimate"], rel=1e-6)
    assert found.se == pytest.approx(given["SE"], rel=1e-6)
    assert (found.low, found.high) == pytest.approx((given["lower.CL"], given["upper.CL"]), rel=1e-4, abs=1e-4)
    assert found.p_adjusted == pytest.approx(given["p.value"], rel=1e-4, abs=1e-8)
    assert given["df"] == pytest.approx(df)


def test_cake_is_even_and_without_groups_far_too_sure(cake, analyse):
    assert "uneven whole plots" not in cake.checks()
    naive = analyse("mixed_split_plot/cake_split_plot", "angle", categories=["recipe", "temperature"])
    assert naive.tests["recipe"].df_error == 252
    assert cake.tests["recipe"].df_error == 28


@pytest.mark.parametrize("asked", [{"blocks": ["Subject"]}, {"group": ["Subject"]}])
def test_stools_in_complete_blocks(analyse, asked):
    answer = analyse("mixed_split_plot/ergostool_rcbd", "effort", categories=["Type"], **asked)
    line, given = answer.tests["Type"], answer.expected["rcbd"]["Type"]
    assert (line.df, line.df_error) == (given["Df"], answer.expected["rcbd"]["Residuals"]["Df"])
    assert line.sum_sq == pytest.approx(given["Sum.Sq"], rel=1e-9)
    assert line.value == pytest.approx(given["F.value"], rel=1e-9)
    assert line.p == pytest.approx(given["Pr..F."], rel=1e-8)
    for pair, expected in answer.expected["pairs_tukey"].items():
        found = answer.comparisons("Type")[tuple(pair.split(" - "))]
        assert (found.difference, found.se) == pytest.approx((expected["estimate"], expected["SE"]), rel=1e-8)
        assert found.p_adjusted == pytest.approx(expected["p.value"], rel=1e-4)


def test_stools_block_line(analyse):
    answer = analyse("mixed_split_plot/ergostool_rcbd", "effort", categories=["Type"], blocks=["Subject"])
    given = answer.expected["rcbd"]["Subject"]
    assert answer.tests["Subject"].value == pytest.approx(given["F.value"], rel=1e-9)
    assert answer.tests["Subject"].p == pytest.approx(given["Pr..F."], rel=1e-8)


def test_incomplete_blocks_within_blocks(analyse):
    answer = analyse("blocks_latin_bib/bib_catalyst", "y", categories=["trt"], blocks=["block"])
    expected = answer.expected
    for term in ("block", "trt"):
        given = expected["type2"][term]
        assert answer.tests[term].sum_sq == pytest.approx(given["Sum.Sq"], rel=1e-9)
        assert answer.tests[term].value == pytest.approx(given["F.value"], rel=1e-9)
        assert answer.tests[term].p == pytest.approx(given["Pr..F."], rel=1e-8)
    assert answer.tests["trt"].value == pytest.approx(expected["published"]["F"], abs=0.01)
    for level, given in expected["emm"].items():
        mean = answer.means("trt")[level]
        assert (mean.mean, mean.se, mean.low, mean.high) == pytest.approx(
            (given["emmean"], given["SE"], given["lower.CL"], given["upper.CL"]), rel=1e-9
        )
    first = analyse("blocks_latin_bib/bib_catalyst", "y", categories=["trt"], blocks=["block"], squares=1)
    assert first.tests["block"].sum_sq == pytest.approx(expected["anova_blocks_first"]["block"]["Sum.Sq"], rel=1e-9)


@pytest.mark.parametrize(("table", "scale"), [("anova", None), ("log_anova", np.log)])
def test_latin_square(analyse, table, scale):
    def rescaled(frame):
        return frame if scale is None else frame.assign(decrease=scale(frame["decrease"]))

    answer = analyse(
        "blocks_latin_bib/orchardsprays_latin8",
        "decrease",
        categories=["treatment"],
        blocks=["rowpos", "colpos"],
        change=rescaled,
    )
    for term, row in {"rowpos": "factor(rowpos)", "colpos": "factor(colpos)", "treatment": "treatment"}.items():
        given = answer.expected[table][row]
        assert answer.tests[term].sum_sq == pytest.approx(given["Sum.Sq"], rel=1e-9)
        assert answer.tests[term].value == pytest.approx(given["F.value"], rel=1e-9)
        assert answer.tests[term].p == pytest.approx(given["Pr..F."], rel=1e-8)


@pytest.mark.parametrize("assembly", ["factor", "block"])
def test_a_graeco_latin_square_has_the_printed_parts(analyse, assembly):
    categories = ["formulation", "assembly"] if assembly == "factor" else ["formulation"]
    blocks = ["batch", "operator"] if assembly == "factor" else ["batch", "operator", "assembly"]
    answer = analyse(
        "blocks_latin_bib/propellant_graeco5", "rate", categories=categories, blocks=blocks, model="main effects"
    )
    expected = answer.expected
    for term in ("formulation", "batch", "operator", "assembly"):
        assert answer.tests[term].sum_sq == pytest.approx(expected["sum_sq"][term], rel=1e-9)
        assert (answer.tests[term].df, answer.tests[term].df_error) == (4, expected["df_error"])  # (k-1), (k-3)(k-1)
    assert answer.result.residual.sum_sq == pytest.approx(expected["sum_sq"]["error"], rel=1e-9)
    assert answer.tests["formulation"].value == pytest.approx(expected["F_formulation"], abs=0.005)
