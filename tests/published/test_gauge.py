"""Gauge studies against published figures, every one of them, and against lme4 where readings are uneven."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import chdtri

from analysis.control.gauge.analysing import gauge_study
from analysis.control.gauge.fits import fits_of, uneven_fit
from analysis.control.gauge.ranges import CLASSES, Factors, average_and_range, d2_star, factors_of
from analysis.control.gauge.results import GaugeQuestion
from analysis.control.gauge.study import read_study
from analysis.control.gauge.uneven import interaction_test

HERE = Path(__file__).parent / "gauge_rr"
PARTS = GaugeQuestion(response="y", person="op", piece="part")
CAKES = GaugeQuestion(response="y", person="op", piece="batch", nested=True, tolerance=20)
LOAVES = GaugeQuestion(response="height", person="baker", piece="loaf")


def table(name):
    return pd.read_csv(HERE / f"{name}.csv")


def expected(name):
    told = json.loads((HERE / f"{name}.json").read_text())
    return told["expected"], told["tolerance_rel"]


def leaves(tree, path=()):
    """Every number of a nested mapping with its path; lists by place."""
    if isinstance(tree, dict):
        for key, value in tree.items():
            yield from leaves(value, (*path, key))
    elif isinstance(tree, list | tuple):
        for place, value in enumerate(tree):
            yield from leaves(value, (*path, place))
    else:
        yield path, tree


def lines_of(fit):
    return {line.term: line for line in fit.table}


def fit_figures(fit):
    """What the reference tells of one way of taking the spread apart."""
    parts, shares = fit.components, fit.shares
    percent = {key: 100 * share.of_variance.value for key, share in shares.items()}
    both = parts.get("person by piece")
    return {
        "variances": {
            "repeatability": parts["repeatability"].variance,
            "operator": parts["person"].variance,
            "interaction": both.variance if both else 0,
            "part": parts["piece"].variance,
        },
        "grr_var": parts["gauge"].variance,
        "total_var": parts["total"].variance,
        "sd": {
            "repeatability": parts["repeatability"].sd,
            "reproducibility": parts["reproducibility"].sd,
            "grr": parts["gauge"].sd,
            "part": parts["piece"].sd,
            "total": parts["total"].sd,
        },
        "pct_contribution": {
            "grr": percent["gauge"],
            "repeatability": percent["repeatability"],
            "reproducibility": percent["reproducibility"],
            "part": percent["piece"],
        },
        "pct_study_variation": {
            "grr": 100 * shares["gauge"].of_spread.value,
            "part": 100 * shares["piece"].of_spread.value,
        },
        "pct_tolerance": shares["gauge"].of_tolerance,
        "ndc_raw": fit.classes,
        "ndc": int(fit.classes),
    }


def reml(study, *, interaction):
    """Components by restricted likelihood, also where the data are even."""
    question = PARTS if len(study.pieces) == 10 else CAKES
    return uneven_fit(study, question, interaction=interaction).components


@pytest.fixture(scope="module")
def parts():
    """Everything that the reference tells of 10 parts by 3 people with 3 repeats, as we compute it."""
    study = read_study(table("msa_10x3x3"), PARTS)
    test = interaction_test(study)
    used, (kept, pooled) = fits_of(study, PARTS, test)
    assert used is pooled
    lines, alone = lines_of(kept), lines_of(pooled)
    names = {"part": "piece", "op": "person", "part:op": "person by piece"}
    anova = {
        name: {"Df": lines[term].df, "Sum.Sq": lines[term].sum_sq, "Mean.Sq": lines[term].mean_sq,
               "F.value": lines[term].f_repeatability, "Pr..F.": lines[term].p_repeatability}
        for name, term in {**names, "Residuals": "repeatability"}.items()
    }  # fmt: skip
    # The reference rounds its factors to four decimals, as the tables in use do; ours round to the same.
    exact = factors_of(3, 10, 3)
    rounded = Factors(repeats=round(exact.repeats, 4), people=round(exact.people, 4), pieces=round(exact.pieces, 4))
    assert (rounded.repeats, rounded.people, rounded.pieces) == (0.5908, 0.5231, 0.3146)
    hand = average_and_range(study, rounded)
    whole = reml(study, interaction=False)
    return {
        "anova": anova,
        "F_vs_interaction": {
            "part": lines["piece"].f,
            "op": lines["person"].f,
            "interaction": test.f,
            "p_interaction": test.p,
            "p_op": lines["person"].p,
        },
        "with_interaction": fit_figures(kept),
        "pooled_no_interaction": {
            "F_op": alone["person"].f,
            "F_part": alone["piece"].f,
            "ms_error": alone["repeatability"].mean_sq,
            **fit_figures(pooled),
        },
        "repeatability_var_ci95": [kept.components["repeatability"].low, kept.components["repeatability"].high],
        "average_range": {
            "Rbar": hand.mean_range,
            "Xdiff": hand.people_range,
            "Rp": hand.pieces_range,
            "EV": hand.repeatability,
            "AV": hand.reproducibility,
            "GRR": hand.gauge,
            "PV": hand.piece,
            "TV": hand.total,
            "pct": {
                "EV": 100 * hand.repeatability / hand.total,
                "AV": 100 * hand.reproducibility / hand.total,
                "GRR": 100 * hand.gauge / hand.total,
                "PV": 100 * hand.piece / hand.total,
            },
            "ndc_raw": hand.classes,
        },
        "reml_no_interaction": {
            "part": whole["piece"].variance,
            "op": whole["person"].variance,
            "Residual": whole["repeatability"].variance,
        },
    }


def test_all_numbers_of_the_published_90_readings(parts):
    # Published 90-value worked example of measurement systems analysis (4th ed., ch. III); digits by R 4.2.2.
    told, tolerance = expected("msa_10x3x3")
    published = told.pop("published")
    ours = dict(leaves(parts))
    theirs = dict(leaves(told))
    assert set(ours) == set(theirs)
    assert len(theirs) == 86
    for path, value in theirs.items():
        assert ours[path] == (None if value is None else pytest.approx(value, rel=tolerance, abs=1e-12)), path
    # As printed, each to its last digit.
    anova = parts["anova"]
    rows = {"op": "op", "part": "part", "interaction": "part:op", "equipment": "Residuals"}
    for name, row in rows.items():
        assert anova[row]["Sum.Sq"] == pytest.approx(published["SS"][name], abs=5.1e-5)
        assert anova[row]["Mean.Sq"] == pytest.approx(published["MS"][name], abs=5.1e-6)
    assert sum(line["Sum.Sq"] for line in anova.values()) == pytest.approx(published["SS"]["total"], abs=5.1e-5)
    assert anova["part:op"]["F.value"] == pytest.approx(published["F_interaction"], abs=5.1e-4)
    assert anova["op"]["F.value"] == pytest.approx(published["F_op_vs_equipment"], abs=5.1e-3)
    assert anova["part"]["F.value"] == pytest.approx(published["F_part_vs_equipment"], abs=5.1e-3)
    by_hand, hand = published["average_range"], parts["average_range"]
    for name in ("EV", "AV", "GRR", "PV", "TV"):  # printed from ranges rounded to four decimals
        assert hand[name] == pytest.approx(by_hand[name], abs=1e-4)
    assert round(hand["pct"]["GRR"], 2) == by_hand["pct_GRR"]
    assert int(hand["ndc_raw"]) == by_hand["ndc"]


def test_all_numbers_of_the_nested_cakes():
    # Synthetic; R 4.2.2 stats and lme4.
    told, tolerance = expected("nested_cake_height")
    study = read_study(table("nested_cake_height"), CAKES)
    (fit,) = fits_of(study, CAKES, None)[1]
    lines, components, whole = lines_of(fit), fit.components, reml(study, interaction=False)
    gauge = fit.shares["gauge"]
    terms = {"op": "person", "cake": "piece", "error": "repeatability"}
    ours = {
        "SS": {name: lines[term].sum_sq for name, term in terms.items()},
        "df": {name: lines[term].df for name, term in terms.items()},
        "F_op": lines["person"].f,
        "p_op": lines["person"].p,
        "F_cake": lines["piece"].f,
        "variances": {
            "repeatability": components["repeatability"].variance,
            "batch_in_op": components["piece"].variance,
            "operator": components["person"].variance,
        },
        "pct_contribution_grr": 100 * gauge.of_variance.value,
        "pct_study_grr": 100 * gauge.of_spread.value,
        "pct_tolerance": 100 * gauge.of_tolerance.value,
        "reml": {
            "op:batch": whole["piece"].variance,
            "op": whole["person"].variance,
            "Residual": whole["repeatability"].variance,
        },
    }
    assert dict(leaves(ours)) == {path: pytest.approx(value, rel=tolerance) for path, value in leaves(told)}
    assert len(list(leaves(told))) == 18


def test_limits_of_the_repeats_are_those_of_chi_squared():
    answer = gauge_study(table("nested_cake_height"), CAKES)
    own = answer.used.components["repeatability"]
    assert own.low == pytest.approx(17.165 / chdtri(18, 0.025), rel=1e-9)
    assert own.high == pytest.approx(17.165 / chdtri(18, 0.975), rel=1e-9)


@pytest.mark.parametrize(
    ("m", "g", "told"),
    [(2, 1, 1.41421), (3, 1, 1.91155), (4, 1, 2.23887), (10, 1, 3.17905), (2, 5, 1.19105), (3, 10, 1.71573)],
)
def test_d2_star_equals_the_printed_table(m, g, told):
    # Table of d2* as the manual named above prints it (App. C), from memory.
    assert d2_star(m, g) == pytest.approx(told, abs=1e-5)


def test_from_many_ranges_on_it_is_d2_itself():
    assert d2_star(3, 16) == pytest.approx(1.69257, abs=5e-6)  # d2 of three readings, printed everywhere
    assert CLASSES == 1.41


@pytest.fixture(scope="module")
def loaves():
    return table("uneven_loaves"), json.loads((HERE / "uneven_loaves.json").read_text())


@pytest.mark.parametrize("interaction", [True, False])
def test_uneven_components_are_those_of_lme4(loaves, interaction):
    # R 4.2.2, lme4; the script lies beside the figures.
    frame, told = loaves
    study = read_study(frame, LOAVES)
    assert not study.even
    ours = uneven_fit(study, LOAVES, interaction=interaction).components
    theirs = told["with_interaction" if interaction else "without_interaction"]
    names = {"baker": "person", "loaf": "piece", "baker:loaf": "person by piece", "Residual": "repeatability"}
    assert {names[key] for key in theirs} <= set(ours)
    for key, value in theirs.items():
        assert ours[names[key]].variance == pytest.approx(value, rel=1e-5), key


def test_the_interaction_of_uneven_data_is_tested_exactly(loaves):
    frame, told = loaves
    found = interaction_test(read_study(frame, LOAVES))
    assert (found.df, found.df_error) == (told["interaction"]["df"], told["interaction"]["df_error"])
    assert found.f == pytest.approx(told["interaction"]["f"], rel=1e-9)
    assert found.p == pytest.approx(told["interaction"]["p"], rel=1e-6)


def test_a_part_that_lme4_puts_at_0_is_0_here(loaves):
    frame, told = loaves
    ours = uneven_fit(read_study(frame, replace(LOAVES, nested=True)), LOAVES, interaction=False).components
    assert told["nested"]["baker"] == 0 == ours["person"].variance
    assert ours["person"].boundary
    assert ours["person"].high > 0
    assert ours["piece"].variance == pytest.approx(told["nested"]["own"], rel=1e-5)
    assert ours["repeatability"].variance == pytest.approx(told["nested"]["Residual"], rel=1e-5)
    assert np.isfinite(ours["person"].high)
