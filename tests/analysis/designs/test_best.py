"""Optimal designs as a plan asks for them: limits kept, whole plots whole, known optima reached."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from analysis.designs.extending import extend
from analysis.designs.further import Further
from analysis.designs.plan import lay_out
from analysis.designs.requests import DesignFactor, DesignRequest, DesignResponse
from analysis.errors import PlanError

RISE = DesignResponse(name="rise", unit="mm", spread=1.0, matters=3.0)


def amount(name, **more):
    return DesignFactor(name=name, kind="amount", low=-1, high=1, **more)


def share(name, **more):
    return DesignFactor(name=name, kind="share", total=100, unit="%", of="flour", **more)


def optimal(*factors, **more):
    return DesignRequest(kind="optimal", factors=factors, seed=5, responses=(RISE,), accept_few_df=True, **more)


def test_a_straight_line_is_baked_at_its_ends():
    plan = lay_out(optimal(amount("soda"), runs=8, model="main effects"))
    assert Counter(run.settings["soda"] for run in plan.runs) == {-1.0: 4, 1.0: 4}
    assert plan.design.judgement.d_efficiency == pytest.approx(100)


def test_a_bend_is_baked_at_both_ends_and_the_middle():
    # D-optimal for a quadratic on an interval: a third each at -1, 0 and 1 (Smith 1918, Biometrika 12:1; from memory).
    plan = lay_out(optimal(amount("soda"), runs=9, levels=21, model="quadratic"))
    assert Counter(run.settings["soda"] for run in plan.runs) == {-1.0: 3, 0.0: 3, 1.0: 3}


def test_the_i_criterion_puts_more_bakes_in_the_middle():
    plan = lay_out(optimal(amount("soda"), runs=8, levels=21, model="quadratic", criterion="I"))
    counts = Counter(run.settings["soda"] for run in plan.runs)
    assert counts[0.0] == 4
    assert counts[-1.0] == counts[1.0] == 2
    assert plan.design.to_json()["properties"]["criterion"] == "I"


def test_three_flours_in_six_bakes_are_the_lattice():
    # The {3,2} simplex lattice is D-optimal for the quadratic blending model (Kiefer 1961; from memory).
    plan = lay_out(optimal(share("wheat"), share("rye"), share("oat"), runs=6))
    assert Counter(tuple(sorted(run.settings.values())) for run in plan.runs) == {
        (0.0, 0.0, 100.0): 3,
        (0.0, 50.0, 50.0): 3,
    }
    assert all(sum(run.coded.values()) == pytest.approx(1) for run in plan.runs)


def test_limits_are_kept_and_prediction_speaks_of_what_may_be_baked():
    free = optimal(amount("soda"), amount("fat"), runs=12, levels=5, model="quadratic")
    held = replace(free, constraints=("soda + fat <= 0.5", "not (soda < -0.9 and fat < -0.9)"))
    plan = lay_out(held)
    assert all(run.settings["soda"] + run.settings["fat"] <= 0.5 + 1e-9 for run in plan.runs)
    assert not any(run.settings == {"soda": -1.0, "fat": -1.0} for run in plan.runs)
    assert plan.design.prediction.largest_variance <= 1.5
    assert plan.design.judgement.df_error == 6


def test_what_stands_in_a_whole_plot_has_one_oven():
    oven = DesignFactor(name="oven", kind="category", levels=("170 °C", "190 °C"), hard_to_change=True)
    plan = lay_out(optimal(oven, amount("soda"), runs=24, whole_plots=8, levels=3, model="quadratic"))
    ovens = {}
    for run in plan.runs:
        ovens.setdefault(run.groups["whole plot"], set()).add(run.settings["oven"])
    assert all(len(each) == 1 for each in ovens.values())
    assert Counter(next(iter(each)) for each in ovens.values()) == {"170 °C": 4, "190 °C": 4}
    strata = {stratum["group"]: stratum for stratum in plan.design.judgement.strata}
    assert strata["whole plot"]["terms"] == ["oven"]
    assert strata["whole plot"]["df_error"] == 6
    days = lay_out(
        optimal(oven, amount("soda"), runs=24, whole_plots=8, levels=3, model="quadratic", block="day", block_size=6)
    )
    plots = {}
    for run in days.runs:
        plots.setdefault(run.groups["whole plot"], set()).add(run.block)
    assert all(len(each) == 1 for each in plots.values())
    assert Counter(run.block for run in days.runs) == dict.fromkeys("1234", 6)


def test_blocks_are_as_even_as_the_runs_allow():
    plan = lay_out(optimal(amount("soda"), amount("fat"), runs=14, levels=3, block="day", block_size=5))
    assert sorted(Counter(run.block for run in plan.runs).values()) == [4, 5, 5]
    assert plan.design.fixed_groups == ("day",)


@pytest.mark.parametrize(
    ("more", "match"),
    [
        ({"runs": 4, "model": "quadratic", "levels": 3}, "runs"),
        ({"constraints": ("soda >= 3",)}, "rules out every one"),
        ({"constraints": ("soda <= 0", "soda >= 0.5")}, "constraints before it"),
        ({"replicates": 2}, "do not multiply"),
        ({"block_size": 5}, "not what a block is"),
        ({"levels": 60}, "too many"),
    ],
)
def test_what_cannot_be_chosen_says_why(more, match):
    factors = (amount("soda"), amount("fat"), amount("sugar"))
    with pytest.raises(PlanError, match=match) as caught:
        lay_out(optimal(*factors, **more))
    assert caught.value.try_this


def test_too_few_or_misfitting_whole_plots_say_why():
    hard = amount("oven", hard_to_change=True)
    with pytest.raises(PlanError, match="hard to change"):
        lay_out(optimal(hard, replace(hard, name="steam"), runs=12))
    with pytest.raises(PlanError, match="cannot hold"):
        lay_out(optimal(hard, amount("soda"), runs=24, whole_plots=8, block="day", block_size=8))


def test_the_best_further_bakes_of_a_fraction_part_what_it_mixes(standing):
    factors = tuple(amount(name) for name in "abcde")
    asked = DesignRequest(kind="fractional factorial", factors=factors, seed=5, runs=8, accept_few_df=True)
    plan = lay_out(asked)
    found = extend(asked, standing(plan), Further(way="best", count=12, model="interactions"))
    assert len(found.added) == 12
    # The mean, the stage, five single effects and ten pairs.
    assert found.design.judgement.df_error == 20 - 17
    assert not found.design.judgement.cannot_tell
    signs = np.array([[run.settings[name] for name in "abcde"] for run in plan.runs])
    assert np.linalg.matrix_rank(np.column_stack([signs, signs[:, :1] * signs[:, 1:]])) < 9
