"""Plans are balanced, repeatable, and honest about what they will be able to tell."""

import json
from collections import Counter
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import t as student_t

from analysis.designs.plan import lay_out
from analysis.designs.requests import DesignFactor, DesignRequest, DesignResponse
from analysis.errors import PlanError
from analysis.linear import factor_model
from analysis.questions import Factor, Question, Response

SODA = DesignFactor(name="soda", kind="amount", unit="% flour", low=0.5, high=2.5)
ACID = DesignFactor(name="acid source", kind="category", levels=("lemon juice", "yogurt", "cream of tartar"))
RISE = DesignResponse(name="rise height", unit="mm", spread=2.0, matters=3.0)
DAYS = DesignRequest(
    kind="full factorial",
    factors=(SODA, ACID),
    seed=20261125,
    responses=(RISE,),
    levels=4,
    replicates=2,
    block="bake day",
    block_size=12,
)


def two_level(count, **more):
    factors = tuple(DesignFactor(name=name, kind="amount", low=0, high=10) for name in "abcdefghij"[:count])
    return DesignRequest(factors=factors, seed=1, **{"kind": "full factorial", **more})


def key(run):
    return tuple(run.settings.items())


def test_soda_against_acid_source_over_two_bake_days():
    plan = lay_out(DAYS)
    assert [run.bake_order for run in plan.runs] == list(range(1, 25))
    assert sorted(run.place_in_design for run in plan.runs) == list(range(1, 25))
    assert plan.design.settings["soda"] == (0.5, 1.16667, 1.83333, 2.5)
    for day in ("1", "2"):
        assert len({key(run) for run in plan.runs if run.block == day}) == 12
    assert {run.coded["soda"] for run in plan.runs if run.settings["soda"] == 2.5} == {1.0}
    first, second = ([key(run) for run in plan.runs if run.block == day] for day in ("1", "2"))
    assert first != second
    assert plan.warnings == ()


def test_the_plan_of_this_seed_is_written_down():
    # Golden: a change would make stored seeds useless.
    runs = lay_out(DAYS).runs
    assert [run.place_in_design for run in runs[:6]] == [11, 5, 6, 8, 7, 9]
    assert [run.code for run in runs[:6]] == ["541", "411", "722", "175", "454", "320"]


def test_json_names_units_and_holds_no_nan():
    document = json.loads(json.dumps(lay_out(DAYS).to_json(), allow_nan=False))
    run = document["runs"][0]
    assert set(run) == {"place_in_design", "bake_order", "block", "groups", "code", "settings", "coded"}
    assert run["settings"]["soda"]["unit"] == "% flour"
    assert run["settings"]["acid source"] == {"value": "cream of tartar", "unit": None}
    assert {"kind", "resolution", "aliases", "df_error", "d_efficiency", "half_widths"} <= set(document["design"])


@st.composite
def requests(draw):
    kind = draw(st.sampled_from(["dose ladder", "full factorial", "complete blocks", "completely randomised"]))
    amounts = 1 if kind == "dose ladder" else draw(st.integers(0, 2))
    categories = 0 if kind == "dose ladder" else draw(st.integers(0 if amounts else 1, 2))
    factors = [
        DesignFactor(
            name=f"amount {n}", kind="amount", low=draw(st.sampled_from([0.0, 0.5])), high=9.0, n_levels=levels
        )
        for n, levels in enumerate(draw(st.lists(st.integers(2, 4), min_size=amounts, max_size=amounts)))
    ] + [
        DesignFactor(name=f"category {n}", kind="category", levels=tuple("wxyz"[:levels]))
        for n, levels in enumerate(draw(st.lists(st.integers(2, 3), min_size=categories, max_size=categories)))
    ]
    replicates = draw(st.integers(1, 4))
    block = "day" if kind == "complete blocks" or (kind != "completely randomised" and draw(st.booleans())) else None
    size = None
    if block and draw(st.booleans()):
        sets = draw(st.sampled_from([n for n in range(1, replicates + 1) if replicates % n == 0]))
        size = sets * int(np.prod([factor.n_levels or len(factor.levels) for factor in factors]))
    seed = draw(st.integers(0, 2**31 - 1))
    return DesignRequest(
        kind=kind,
        factors=tuple(factors),
        seed=seed,
        replicates=replicates,
        block=block,
        block_size=size,
        accept_few_df=True,
    )


@settings(max_examples=2000, deadline=None)
@given(requests())
def test_two_thousand_plans_are_even(request):
    plan = lay_out(request)
    codes = [run.code for run in plan.runs]
    assert len(set(codes)) == len(codes)
    counts = Counter(key(run) for run in plan.runs)
    assert len(counts) == plan.design.treatments
    assert set(counts.values()) == {request.replicates}
    for label in {run.block for run in plan.runs}:
        block = Counter(key(run) for run in plan.runs if run.block == label)
        assert len(block) == plan.design.treatments
        assert len(set(block.values())) == 1
    assert lay_out(request) == plan


def test_another_seed_gives_another_order_and_other_codes():
    plan, other = lay_out(DAYS), lay_out(replace(DAYS, seed=2))
    assert [run.place_in_design for run in plan.runs] != [run.place_in_design for run in other.runs]
    assert [run.code for run in plan.runs] != [run.code for run in other.runs]


def test_doses_in_equal_ratios_and_chosen_doses_with_zero():
    ladder = DesignRequest(
        kind="dose ladder", factors=(replace(SODA, low=0.25, high=4, spacing="geometric"),), seed=1, replicates=2
    )
    assert lay_out(replace(ladder, levels=5)).design.settings["soda"] == (0.25, 0.5, 1.0, 2.0, 4.0)
    chosen = replace(ladder, factors=(DesignFactor(name="soda", kind="amount", values=(1, 0, 4, 2)),))
    assert lay_out(chosen).design.settings["soda"] == (0.0, 1.0, 2.0, 4.0)
    with pytest.raises(PlanError, match="equal ratios"):
        lay_out(replace(ladder, levels=5, factors=(replace(SODA, low=0, spacing="geometric"),)))


@pytest.mark.parametrize(
    "request_",
    [
        two_level(3, replicates=2),
        two_level(4),
        two_level(5, kind="fractional factorial", runs=16),
        two_level(7, kind="fractional factorial", runs=8, replicates=2),
        two_level(3, replicates=2, block="day"),
        two_level(4, replicates=2, block="day", block_size=8),
    ],
)
def test_orthogonal_two_level_designs_have_full_d_efficiency(request_):
    assert lay_out(request_).design.judgement.d_efficiency == pytest.approx(100, abs=1e-6)


def test_half_width_of_a_two_level_effect_is_t_times_twice_the_spread_over_root_n():
    # Standard error of an effect 2 s / sqrt(N): NIST/SEMATECH e-Handbook 5.4.7.1 and any textbook.
    plan = lay_out(two_level(3, replicates=2, responses=(RISE,)))
    widths = plan.design.judgement.half_widths["rise height"]
    df = 16 - 1 - 3 - 3
    assert plan.design.judgement.df_error == df
    assert widths["a"] == pytest.approx(student_t.ppf(0.975, df) * 2 * 2.0 / 4)
    assert widths["a:b"] == pytest.approx(2 * widths["a"])  # change of a's effect from low to high b


def test_half_widths_agree_with_simulated_bakes():
    # Independent of the formulas: the spread of estimated differences over 4,000 noise draws.
    plan = lay_out(DAYS)
    rng = np.random.Generator(np.random.PCG64(11))
    runs = plan.runs
    lemon = np.array([run.settings["acid source"] == "lemon juice" for run in runs])
    yogurt = np.array([run.settings["acid source"] == "yogurt" for run in runs])
    noise = rng.normal(0, 2.0, (4000, 24))
    spread = (noise[:, lemon].mean(axis=1) - noise[:, yogurt].mean(axis=1)).std()
    expected = student_t.ppf(0.975, plan.design.judgement.df_error) * spread
    assert plan.design.judgement.half_widths["rise height"]["acid source"] == pytest.approx(expected, rel=0.04)


def test_without_a_spread_there_is_no_half_width_but_a_reason():
    plan = lay_out(replace(DAYS, responses=(DesignResponse(name="crumb score"),)))
    assert plan.design.judgement.half_widths == {"crumb score": None}
    assert "spread" in plan.design.judgement.reasons["half_widths.crumb score"]


def test_five_factors_in_sixteen_runs_are_judged_by_lenth_and_say_what_is_mixed():
    plan = lay_out(two_level(5, kind="fractional factorial", resolution=5))
    assert (plan.design.n_runs, plan.design.resolution, plan.design.judgement.df_error) == (16, 5, 0)
    assert "Lenth" in plan.design.judgement.judged_by
    assert ("a:b", "c:d:e") in plan.design.aliases
    assert "a × b cannot be told from c × d × e." in plan.design.alias_words
    signs = np.array([[run.coded[name] for name in "abcde"] for run in plan.runs])
    assert (signs[:, 4] == signs[:, :4].prod(axis=1)).all()  # E = ABCD


def test_too_few_error_degrees_of_freedom_need_an_explicit_yes():
    tiny = two_level(2)
    with pytest.raises(PlanError, match=r"1 degrees of freedom|0 degrees of freedom") as caught:
        lay_out(tiny)
    assert "accept_few_df" in caught.value.try_this
    plan = lay_out(replace(tiny, accept_few_df=True))
    assert any("Error degrees of freedom" in words for words in plan.warnings)


def test_a_block_size_that_holds_no_whole_sets_names_those_that_do():
    with pytest.raises(PlanError, match="whole sets") as caught:
        lay_out(replace(DAYS, block_size=8))
    assert caught.value.try_this.startswith("block_size = 12 or 24")


def test_a_two_level_set_may_be_divided_over_blocks_at_the_cost_of_its_highest_interaction():
    plan = lay_out(two_level(3, replicates=2, block="day", block_size=4))
    assert plan.design.blocks == 4
    assert plan.design.confounded_with_blocks == ("a:b:c",)
    for label in "1234":
        rows = [run.coded for run in plan.runs if run.block == label]
        assert len({np.prod(list(row.values())) for row in rows}) == 1
        assert all(sum(row[name] for row in rows) == 0 for name in "abc")
    assert "a × b × c cannot be told from the day." in plan.warnings


def test_sixteen_runs_in_four_blocks_lose_no_main_effect_and_one_pair():
    # Box, Hunter & Hunter's arrangement of 2^4 in four blocks also gives up one two-factor interaction.
    plan = lay_out(two_level(4, block="day", block_size=4))
    assert [term.count(":") for term in plan.design.confounded_with_blocks] == [1, 2, 2]


def test_centre_points_stand_half_way_and_are_spread_over_blocks():
    plan = lay_out(two_level(2, replicates=2, block="day", block_size=6, centre_points=4))
    middle = [run for run in plan.runs if run.coded == {"a": 0.0, "b": 0.0}]
    assert Counter(run.block for run in middle) == {"1": 2, "2": 2}
    assert all(run.settings == {"a": 5.0, "b": 5.0} for run in middle)
    with pytest.raises(PlanError, match="no middle"):
        lay_out(replace(DAYS, levels=2, centre_points=2, block_size=None))


def test_blocks_sort_as_they_count():
    request = DesignRequest(kind="complete blocks", factors=(ACID,), seed=4, replicates=11, block="bake day")
    plan = lay_out(request)
    labels = [run.block for run in plan.runs]
    assert labels == sorted(labels)
    assert labels[-1] == "11"
    orders = [
        tuple(run.settings["acid source"] for run in plan.runs if run.block == label) for label in sorted(set(labels))
    ]
    assert len(set(orders[:3])) == 3


def test_a_misspelt_kind_names_the_nearest():
    with pytest.raises(PlanError) as caught:
        lay_out(replace(DAYS, kind="full factoral"))
    assert caught.value.try_this == 'kind = "full factorial"'


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"kind": "dose ladder"}, "one amount"),
        ({"kind": "complete blocks", "block": None, "block_size": None}, "name for what a block is"),
        ({"kind": "completely randomised"}, "no blocks"),
        ({"block": None}, "not what a block is"),
        ({"runs": 8}, "does not use runs"),
        ({"kind": "fractional factorial", "runs": 8}, "two levels"),
        ({"factors": ()}, "no factor"),
        ({"factors": (SODA, replace(SODA, name="Soda"))}, "same name"),
        ({"replicates": 0}, "at least once"),
        ({"levels": 60, "replicates": 20}, "at most"),
        ({"factors": (replace(SODA, high=0.5),)}, "higher high"),
        ({"factors": (replace(ACID, levels=("yogurt",)),)}, "at least two levels"),
        ({"factors": (replace(SODA, kind="share"),)}, "share"),
    ],
)
def test_what_cannot_be_laid_out_is_an_error_with_a_way_out(change, match):
    with pytest.raises(PlanError, match=match) as caught:
        lay_out(replace(DAYS, **change))
    assert caught.value.where
    assert caught.value.try_this


def test_an_effect_too_wide_for_what_matters_is_said_before_baking():
    plan = lay_out(replace(DAYS, responses=(replace(RISE, spread=9.0),)))
    assert any("less finely than the 3 mm" in words for words in plan.warnings)


def test_a_hard_to_change_factor_and_a_single_block_are_warned_of():
    factors = (replace(SODA, hard_to_change=True), ACID)
    plan = lay_out(replace(DAYS, factors=factors, block_size=24))
    assert any("hard to change" in words for words in plan.warnings)
    assert any("one bake day" in words for words in plan.warnings)


@pytest.mark.parametrize(
    "request_",
    [
        DAYS,
        replace(DAYS, levels=3, replicates=1, block=None, block_size=None),
        two_level(3, accept_few_df=True),
        two_level(4),
        two_level(3, replicates=2, block="day"),
        two_level(2, centre_points=4),
        two_level(5, kind="fractional factorial", runs=16),
        two_level(5, kind="fractional factorial", runs=8, accept_few_df=True),
        two_level(7, kind="fractional factorial", runs=8),
        two_level(6, kind="fractional factorial", runs=16, replicates=2, block="day", block_size=16),
    ],
)
def test_error_degrees_of_freedom_and_aliases_are_those_the_analysis_finds(request_):
    plan = lay_out(request_)
    rng = np.random.Generator(np.random.PCG64(5))
    bakes = pd.DataFrame({factor.name: [run.settings[factor.name] for run in plan.runs] for factor in request_.factors})
    for factor in request_.factors:
        if factor.kind == "category":
            bakes[factor.name] = pd.Categorical(bakes[factor.name], categories=factor.levels, ordered=True)
    if request_.block:
        bakes[request_.block] = pd.Categorical([run.block for run in plan.runs], ordered=True)
    bakes["rise"] = rng.normal(50, 2, len(bakes))
    bakes["bake"], bakes["order"], bakes["readings"] = [run.code for run in plan.runs], range(len(bakes)), 1
    factors = tuple(Factor(name=f.name, kind=f.kind, levels=f.levels) for f in request_.factors)
    blocks = (request_.block,) if request_.block else ()
    rise = Response(name="rise")
    found = factor_model(bakes, rise, Question(factors=factors, responses=(rise,), blocks=blocks))
    assert found.residual.df == plan.design.judgement.df_error
    assert {frozenset(chain) for chain in found.aliases} <= {frozenset(chain) for chain in plan.design.aliases}
    assert ("Lenth" in plan.design.judgement.judged_by) == any(effect.pse for effect in found.effects)
