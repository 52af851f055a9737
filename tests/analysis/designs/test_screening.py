"""Screening designs tell single effects apart, and say what they are mixed with."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pandas as pd
import pytest

from analysis.designs.conference import LARGEST_ORDER, conference_matrix
from analysis.designs.plan import lay_out
from analysis.designs.requests import DesignFactor, DesignRequest, DesignResponse
from analysis.designs.screening import GENERATING_ROWS, plackett_burman_signs
from analysis.errors import PlanError
from analysis.linear import factor_model
from analysis.questions import Factor, Question, Response

NAMES = [f"x{number}" for number in range(1, 37)]
RISE = DesignResponse(name="rise", unit="mm", spread=2.0, matters=4.0)
ACID = DesignFactor(name="acid", kind="category", levels=("yogurt", "lemon juice"))


def screening(kind, count, **more):
    factors = tuple(DesignFactor(name=name, kind="amount", low=0.7, high=2.3) for name in NAMES[:count])
    return DesignRequest(**{"kind": kind, "factors": factors, "seed": 7, "responses": (RISE,), **more})


def coded(plan):
    runs = sorted(plan.runs, key=lambda run: run.place_in_design)
    return np.array([list(run.coded.values()) for run in runs])


@pytest.mark.parametrize("runs", GENERATING_ROWS)
def test_every_plackett_burman_matrix_is_orthogonal_and_balanced(runs):
    signs = plackett_burman_signs(runs)
    assert signs.shape == (runs, runs - 1)
    assert np.array_equal(signs.T @ signs, runs * np.eye(runs - 1))
    assert (signs.sum(axis=0) == 0).all()


@pytest.mark.parametrize(
    ("factors", "runs", "df"),
    [(3, 8, 4), (4, 8, 3), (5, 12, 6), (8, 12, 3), (12, 16, 3), (16, 20, 3), (20, 24, 3), (21, 36, 14), (32, 36, 3)],
)
def test_the_smallest_design_that_leaves_three_degrees_of_freedom_is_taken(factors, runs, df):
    plan = lay_out(screening("plackett-burman", factors))
    assert (plan.design.n_runs, plan.design.judgement.df_error) == (runs, df)
    assert plan.design.model == "main effects"


def test_a_saturated_plackett_burman_is_judged_by_its_small_effects():
    for factors, runs in ((11, 12), (35, 36)):
        plan = lay_out(screening("plackett-burman", factors, runs=runs))
        assert plan.design.judgement.df_error == 0
        assert f"Lenth's pseudo standard error of {runs - 1} effects" in plan.design.judgement.judged_by


def test_eleven_factors_in_twelve_runs_say_how_far_pairs_go_into_them():
    plan = lay_out(screening("plackett-burman", 11, runs=12))
    mixed = plan.design.mixed_in.to_json()
    assert len(mixed) == 11
    for entry in mixed:
        assert len(entry["with"]) == 45
        assert [abs(share) for share in entry["with"].values()] == pytest.approx([1 / 3] * 45, abs=1e-9)
    assert "up to 0.33 of it goes into the effects of other factors" in plan.design.alias_words[0]


def test_two_level_categories_and_amounts_may_be_screened_together():
    request = screening("plackett-burman", 5)
    plan = lay_out(replace(request, factors=(*request.factors, ACID), replicates=2, block="bake day"))
    assert plan.design.n_runs == 24
    for day in ("1", "2"):
        assert len({tuple(run.settings.items()) for run in plan.runs if run.block == day}) == 12
    assert plan.design.evenness["acid"] == {"yogurt": 12, "lemon juice": 12}


def test_centre_points_show_the_bend_and_the_spread():
    plan = lay_out(screening("plackett-burman", 7, runs=8, centre_points=4))
    middle = [run for run in plan.runs if set(run.coded.values()) == {0.0}]
    assert len(middle) == 4
    assert set(middle[0].settings.values()) == {1.5}
    assert plan.design.judgement.df_error == 3  # four equal bakes; the bend takes none of theirs


@pytest.mark.parametrize("order", range(4, LARGEST_ORDER + 1, 2))
def test_conference_matrices_have_equal_lengths_and_right_angles(order):
    matrix = conference_matrix(order)
    assert (np.diag(matrix) == 0).all()
    assert (np.abs(matrix) + np.eye(order) == 1).all()
    assert np.array_equal(matrix.T @ matrix, (order - 1) * np.eye(order))


@pytest.mark.parametrize("factors", range(3, LARGEST_ORDER + 1))
def test_definitive_screening_keeps_single_effects_clear_of_all_of_second_order(factors):
    # Jones & Nachtsheim 2011: 2 m + 1 runs (m even), single effects orthogonal to each other, to bends and to pairs;
    # single effects and bends together can be estimated.
    plan = lay_out(screening("definitive screening", factors))
    order = factors + factors % 2
    runs = coded(plan)
    assert len(runs) == 2 * order + 1
    assert set(np.unique(runs)) == {-1, 0, 1}
    assert np.array_equal(runs.T @ runs, 2 * (order - 1) * np.eye(factors))
    second = [runs[:, a] * runs[:, b] for a in range(factors) for b in range(a, factors)]
    assert not (runs.T @ np.column_stack(second)).any()
    both = np.column_stack([np.ones(len(runs)), runs, runs**2])
    assert np.linalg.matrix_rank(both) == 2 * factors + 1
    assert plan.design.properties["main_with_second_order"] == 0
    assert plan.design.alias_words == ("No single effect is mixed with an interaction of two factors or a bend.",)
    assert plan.design.judgement.df_error == 2 * order + 1 - 1 - factors


def test_any_three_of_six_amounts_allow_a_whole_quadratic():
    # Jones & Nachtsheim 2011: a definitive screening of six factors or more projects onto any three with all ten terms.
    runs = coded(lay_out(screening("definitive screening", 6)))
    for three in combinations(range(6), 3):
        part = runs[:, three]
        pairs = [part[:, a] * part[:, b] for a, b in combinations(range(3), 2)]
        whole = np.column_stack([np.ones(len(part)), part, part**2, *pairs])
        assert np.linalg.matrix_rank(whole) == 10


def test_more_runs_take_a_larger_matrix_whose_idle_columns_judge_the_error():
    plan = lay_out(screening("definitive screening", 6, runs=17))
    assert (plan.design.properties["conference_order"], plan.design.judgement.df_error) == (8, 10)
    twice = lay_out(screening("definitive screening", 6, runs=13, replicates=2, block="bake day"))
    assert (twice.design.n_runs, twice.design.blocks, twice.design.centre_points) == (26, 2, 2)


@pytest.mark.parametrize(
    ("kind", "count", "change", "match", "way_out"),
    [
        ("plackett-burman", 2, {}, "many factors", "full factorial"),
        ("plackett-burman", 36, {}, "at most 35", "leave out"),
        ("plackett-burman", 9, {"runs": 8}, "No Plackett-Burman design of 8 runs", "runs = 12 or 16 or 20 or 24 or 36"),
        ("plackett-burman", 5, {"runs": 28}, "28 runs", "runs = 8 or 12"),
        ("definitive screening", 2, {}, "many factors", "central composite"),
        ("definitive screening", 21, {}, "at most 20", "leave out"),
        ("definitive screening", 6, {"runs": 14}, "14 runs", "runs = 13 or 17"),
        ("definitive screening", 6, {"centre_points": 0}, "Without a run in the middle", "centre_points = 1"),
    ],
)
def test_what_is_not_on_offer_says_what_is(kind, count, change, match, way_out):
    with pytest.raises(PlanError, match=match) as caught:
        lay_out(screening(kind, count, **change))
    assert way_out in caught.value.try_this
    assert caught.value.where


@pytest.mark.parametrize(
    ("factor", "kind", "match"),
    [
        (ACID, "definitive screening", "a category: definitive screening needs a middle"),
        (replace(ACID, levels=("a", "b", "c")), "plackett-burman", "two levels of each"),
        (replace(ACID, kind="amount", values=(1, 2, 3)), "plackett-burman", "brings its own"),
        (replace(ACID, kind="amount", low=1, high=2, n_levels=4), "definitive screening", "brings its own"),
        (replace(ACID, kind="amount", low=1, high=4, spacing="geometric"), "definitive screening", "equal ratios"),
        (replace(ACID, kind="amount", low=4, high=1), "definitive screening", "higher high"),
    ],
)
def test_a_factor_that_does_not_fit_is_named(factor, kind, match):
    request = screening(kind, 5)
    with pytest.raises(PlanError, match=match) as caught:
        lay_out(replace(request, factors=(*request.factors, factor)))
    assert caught.value.where == "factor acid"
    assert caught.value.try_this


def test_centre_points_with_a_category_are_refused():
    request = screening("plackett-burman", 5, centre_points=3)
    with pytest.raises(PlanError, match="no middle"):
        lay_out(replace(request, factors=(*request.factors, ACID)))


@pytest.mark.parametrize(
    "request_",
    [
        screening("plackett-burman", 11, runs=12),
        screening("plackett-burman", 7, runs=8, replicates=2, block="bake day"),
    ],
)
def test_an_analysis_judges_by_the_error_that_the_plan_promised(request_):
    plan = lay_out(request_)
    rng = np.random.Generator(np.random.PCG64(5))
    bakes = pd.DataFrame([dict(run.settings) for run in plan.runs])
    truth = 40 + 5 * bakes["x2"] - 3 * bakes["x5"]
    bakes["rise"] = truth + rng.normal(0, 0.3, len(bakes))
    bakes["bake"], bakes["order"], bakes["readings"] = [run.code for run in plan.runs], range(len(bakes)), 1
    if request_.block:
        bakes[request_.block] = pd.Categorical([run.block for run in plan.runs], ordered=True)
    rise = Response(name="rise")
    question = Question(
        factors=tuple(Factor(name=each.name, kind="amount") for each in request_.factors),
        responses=(rise,),
        blocks=(request_.block,) if request_.block else (),
        model="main effects",
    )
    found = factor_model(bakes, rise, question)
    assert found.residual.df == plan.design.judgement.df_error
    effects = {effect.term: effect.effect for effect in found.effects}
    assert effects["x2"] == pytest.approx(5 * 1.6, abs=0.6)
    assert effects["x5"] == pytest.approx(-3 * 1.6, abs=0.6)
