"""Do squares, incomplete blocks and split-plots promise what published analyses of them found?

With the spread that a published analysis estimated, a plan of the same size has its error degrees of freedom and
its standard errors of differences. Sources stand in the JSON beside each case; digits there by R 4.2.2.
"""

import json
from math import sqrt
from pathlib import Path

import pytest
from scipy.stats import t as student_t

from analysis.designs.plan import lay_out
from analysis.designs.requests import DesignFactor, DesignRequest, DesignResponse

HERE = Path(__file__).parent
SEED = 1


def expected(case):
    return json.loads((HERE / f"{case}.json").read_text())["expected"]


def kinds(name, count, **more):
    return DesignFactor(name=name, kind="category", levels=tuple("abcdefgh"[:count]), **more)


def judged(kind, *factors, spread=1.0, between=None, **keys):
    response = DesignResponse(name="y", spread=spread, whole_plot_spread=between)
    plan = lay_out(DesignRequest(kind=kind, factors=factors, responses=(response,), seed=SEED, **keys))
    return plan.design.judgement


def test_a_square_of_eight_is_as_sure_as_that_of_the_orchard():
    # 8 by 8: data(OrchardSprays), rows + columns + treatment.
    case = expected("blocks_latin_bib/orchardsprays_latin8")
    error = case["anova"]["Residuals"]
    found = judged("latin square", kinds("spray", 8), rows="row", columns="column", spread=sqrt(error["Mean.Sq"]))
    assert found.df_error == error["Df"]
    assert found.half_widths["y"]["spray"] == pytest.approx(student_t.ppf(0.975, 42) * case["sed"], rel=1e-9)


def test_a_graeco_latin_square_of_five_has_the_error_of_the_propellants():
    case = expected("blocks_latin_bib/propellant_graeco5")
    factors = kinds("formulation", 5), kinds("assembly", 5)
    assert judged("graeco-latin square", *factors, rows="batch", columns="operator").df_error == case["df_error"]


def test_four_treatments_in_blocks_of_three_are_as_sure_as_the_catalysts():
    # Montgomery's catalysts: 4 treatments in 4 blocks of 3.
    case = expected("blocks_latin_bib/bib_catalyst")
    error = case["type2"]["Residuals"]
    spread = sqrt(error["Sum.Sq"] / error["Df"])
    found = judged("incomplete blocks", kinds("catalyst", 4), block="batch", block_size=3, replicates=3, spread=spread)
    assert found.df_error == error["Df"]
    # The variance of an adjusted mean less that of the grand mean; times 2 t / (t - 1) that of a difference.
    adjusted = case["emm"]["1"]["SE"] ** 2 - spread**2 / 12
    assert found.half_widths["y"]["catalyst"] == pytest.approx(
        student_t.ppf(0.975, 5) * sqrt(adjusted * 2 * 4 / 3), rel=1e-9
    )


def test_a_split_plot_is_as_sure_as_the_chocolate_cakes():
    # Cochran & Cox 1957, p. 300: three recipes mixed in each of 15 replicates, six oven temperatures within each.
    case = expected("mixed_split_plot/cake_split_plot")
    strata, mixed = case["strata"], case["reml_two_terms"]
    found = judged(
        "split-plot",
        kinds("recipe", 3, hard_to_change=True),
        kinds("oven", 6),
        block="replicate",
        replicates=15,
        spread=mixed["sds"]["Residual"],
        between=mixed["sds"]["recipe:replicate"],
    )
    told = {stratum["group"]: (stratum["terms"], stratum["df_error"]) for stratum in found.strata}
    assert told == {
        "whole plot": (["recipe"], strata["replicate_recipe"]["Residuals"]["Df"]),
        "bakes": (["oven", "recipe:oven"], strata["within"]["Residuals"]["Df"]),
    }
    recipe = mixed["pairs_recipe_kr_tukey"]["A - B"]
    oven = mixed["pairs_temp_kr_tukey"]["tempf175 - tempf185"]
    for name, pair in (("recipe", recipe), ("oven", oven)):
        width = student_t.ppf(0.975, round(pair["df"])) * pair["SE"]
        assert found.half_widths["y"][name] == pytest.approx(width, rel=1e-6), name
