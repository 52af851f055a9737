"""A trial goes on without losing what was baked, and says what the whole can tell then."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.designs.extending import ExistingRun, Standing, extend
from analysis.designs.further import Further
from analysis.designs.plan import lay_out
from analysis.designs.requests import DesignFactor, DesignRequest, DesignResponse
from analysis.errors import PlanError

ACID = DesignFactor(name="acid source", kind="category", levels=("lemon juice", "yogurt", "cream of tartar"))
RISE = DesignResponse(name="rise height", unit="mm", spread=2.0, matters=3.0)


def amounts(count):
    return tuple(
        DesignFactor(name=name, kind="amount", low=1, high=3, unit="% flour", weighed=True)
        for name in "abcdefgh"[:count]
    )


def request(kind, factors, **more):
    return DesignRequest(kind=kind, factors=factors, seed=4, responses=(RISE,), accept_few_df=True, **more)


def added(extended):
    return [each.run for each in extended.added]


def test_a_replicate_in_a_new_block_holds_every_treatment_once(standing):
    asked = request("full factorial", (*amounts(1), ACID), replicates=2, block="bake day")
    plan = lay_out(asked)
    found = extend(asked, standing(plan), Further(way="replicates"))
    assert [run.block for run in added(found)] == ["3"] * 6
    assert len({tuple(run.settings.items()) for run in added(found)}) == 6
    assert [run.bake_order for run in added(found)] == list(range(13, 19))
    assert not {run.code for run in added(found)} & {run.code for run in plan.runs}
    # 18 runs less the mean, 2 blocks and 5 treatments.
    assert found.design.judgement.df_error == 18 - 1 - 2 - 5
    assert found.design.n_runs == 18


@pytest.mark.parametrize(("replicates", "size"), [(5, 9), (4, 6), (3, 3), (5, 6)])
@pytest.mark.parametrize("count", [1, 2])
def test_a_replicate_is_one_set_however_many_a_block_holds(replicates, size, count, standing):
    asked = request("complete blocks", (ACID,), replicates=replicates, block="bake day", block_size=size)
    found = extend(asked, standing(lay_out(asked)), Further(way="replicates", count=count))
    assert sorted(run.settings["acid source"] for run in added(found)) == sorted(ACID.levels * count)
    blocks = -(-replicates * 3 // size) + count
    assert found.design.judgement.df_error == 3 * (replicates + count) - 3 - (blocks - 1)


def test_a_trial_without_blocks_is_joined_by_a_second_stage(standing):
    asked = request("full factorial", amounts(2), replicates=2)
    found = extend(asked, standing(lay_out(asked)), Further(way="replicates", count=2))
    assert {run.groups["stage"] for run in added(found)} == {"2"}
    assert len(added(found)) == 8
    assert found.design.fixed_groups == ("stage",)
    assert found.design.judgement.df_error == 16 - 4 - 1


def test_a_fold_over_frees_single_effects_from_pairs(standing):
    # 2^(7-4) and its fold-over are a 2^(7-3) of resolution IV: Box, Hunter & Hunter 2005, ch. 6.
    asked = request("fractional factorial", amounts(7), runs=8)
    plan = lay_out(asked)
    found = extend(asked, standing(plan), Further(way="fold-over"))
    signs = np.array([[run.settings[name] - 2 for name in "abcdefg"] for run in [*plan.runs, *added(found)]])
    assert len(signs) == 16
    pairs = [signs[:, i] * signs[:, j] for i in range(7) for j in range(i)]
    assert all(abs(signs[:, i] @ pair) < 1e-12 for i in range(7) for pair in pairs)
    assert set("abcdefg") <= set(found.design.judgement.terms)


def test_turning_one_factor_frees_it_and_its_pairs(standing):
    asked = request("fractional factorial", amounts(7), runs=8)
    plan = lay_out(asked)
    found = extend(asked, standing(plan), Further(way="fold-over", factor="d"))
    signs = np.array([[run.settings[name] - 2 for name in "abcdefg"] for run in [*plan.runs, *added(found)]])
    with_d = [signs[:, 3] * signs[:, j] for j in range(7) if j != 3]
    others = [signs[:, i] * signs[:, j] for i in range(7) for j in range(i) if 3 not in (i, j)]
    singles = [signs[:, i] for i in range(7)]
    assert all(abs(one @ other) < 1e-12 for one in with_d for other in [*others, *singles])


@pytest.mark.parametrize(("axial", "doses"), [(1.0, {1.0, 2.0, 3.0}), (1.5, {0.5, 1.0, 2.0, 3.0, 3.5})])
def test_star_points_let_a_bend_of_each_amount_be_told(axial, doses, standing):
    asked = request("full factorial", amounts(2), replicates=1, centre_points=3)
    plan = lay_out(asked)
    found = extend(asked, standing(plan), Further(way="axial runs", axial=axial, count=2))
    assert len(added(found)) == 2 * 2 + 2
    assert {run.settings["a"] for run in [*plan.runs, *added(found)]} == doses
    assert {"a^2", "b^2", "a:b"} <= set(found.design.judgement.terms)
    # 7 + 6 runs less the mean, the stage and five terms.
    assert found.design.judgement.df_error == 13 - 7
    assert max(run.coded["a"] for run in added(found)) == 1.0


def test_centre_points_added_later_show_the_spread_but_no_bend(standing):
    asked = request("full factorial", amounts(2), replicates=2)
    found = extend(asked, standing(lay_out(asked)), Further(way="centre points", count=4))
    assert all(run.settings == {"a": 2.0, "b": 2.0} for run in added(found))
    assert found.design.centre_points == 4
    # 12 runs less the mean, three terms and the stage, which a bend could not be told from.
    assert found.design.judgement.df_error == 12 - 5
    assert any("a bend cannot be told" in words for words in found.warnings)
    planned = replace(asked, centre_points=2)
    again = extend(planned, standing(lay_out(planned)), Further(way="centre points", count=2))
    assert not any("a bend cannot be told" in words for words in again.warnings)


def test_a_lost_run_is_made_up_in_its_own_block_while_that_is_baked(standing):
    asked = request("full factorial", (*amounts(1), ACID), replicates=2, block="bake day")
    plan = lay_out(asked)
    lost = plan.runs[2]
    found = extend(asked, standing(plan, lost={lost.code}), Further(way="again", codes=(lost.code,)))
    (again,) = found.added
    assert again.stands_for == lost.code
    assert (again.run.settings, again.run.block) == (lost.settings, lost.block)
    assert found.design.n_runs == 12
    day = {run.code for run in plan.runs if run.block == lost.block} - {lost.code}
    late = extend(asked, standing(plan, lost={lost.code}, baked=day), Further(way="again"))
    assert late.added[0].run.block == "3"


@pytest.mark.parametrize(
    ("rows", "when"), [("oven shelf", {"stage": "2"}), ("bake day", {"bake day": "6"})], ids=["shelves", "days"]
)
def test_a_lost_run_of_a_square_is_baked_later_in_its_own_row_and_column(rows, when, standing):
    flour = DesignFactor(name="flour", kind="category", levels=tuple("abcde"))
    asked = DesignRequest(kind="latin square", factors=(flour,), seed=1, rows=rows, columns="turn of the day")
    plan = lay_out(asked)
    lost = {run.code for run in plan.runs[3:9:5]}
    baked = {run.code for run in plan.runs} - lost
    found = extend(asked, standing(plan, lost=lost, baked=baked), Further(way="again"))
    by_code = {run.code: run for run in plan.runs}
    assert {each.stands_for for each in found.added} == lost
    for each in found.added:
        was = by_code[each.stands_for]
        assert each.run.settings == was.settings
        assert each.run.groups == {**was.groups, **when}
    # 25 bakes less the mean, 4 rows, 4 columns, 4 flours and the later stage or day.
    assert found.design.judgement.df_error == 25 - 1 - 4 - 4 - 4 - 1


def test_whole_plots_are_added_whole():
    oven = DesignFactor(name="oven", kind="category", levels=("hot", "mild"))
    runs = [
        ExistingRun(
            place_in_design=at + 1,
            bake_order=at + 1,
            code=str(201 + 7 * at),
            settings={"oven": oven.levels[at // 2 % 2], "acid": ("a", "b")[at % 2]},
            groups={"whole plot": str(at // 2 + 1)},
        )
        for at in range(8)
    ]
    factors = (oven, DesignFactor(name="acid", kind="category", levels=("a", "b")))
    split = Standing(
        runs=tuple(runs), block=None, fixed=(), errors=("whole plot",), crossed=False, model="interactions"
    )
    asked = request("split-plot", factors)
    found = extend(asked, split, Further(way="replicates"))
    plots = {}
    for run in added(found):
        plots.setdefault(run.groups["whole plot"], []).append(run.settings)
    assert set(plots) == {"5", "6"}
    assert all(len({each["oven"] for each in members}) == 1 and len(members) == 2 for members in plots.values())
    assert [stratum["group"] for stratum in found.design.judgement.strata] == ["whole plot", "bakes"]
    with pytest.raises(PlanError, match="share whole plots"):
        extend(asked, split, Further(way="centre points"))


@pytest.mark.parametrize(
    ("factors", "further", "match"),
    [
        ((*amounts(1), ACID), Further(way="centre points"), "no middle"),
        ((*amounts(1), ACID), Further(way="fold-over"), "two levels"),
        (amounts(2), Further(way="fold-over", factor="z"), "No factor"),
        (amounts(2), Further(way="axial runs", axial=2.5), "would weigh"),
        (amounts(2), Further(way="again", codes=("000",)), "no run"),
        (amounts(2), Further(way="again"), "No run failed"),
        (amounts(2), Further(way="replicates", count=0), "Nothing"),
    ],
)
def test_a_way_that_does_not_fit_says_why(factors, further, match, standing):
    asked = request("full factorial", factors, replicates=2)
    with pytest.raises(PlanError, match=match) as caught:
        extend(asked, standing(lay_out(asked)), further)
    assert caught.value.try_this


def test_the_same_seed_adds_the_same_runs(standing):
    asked = request("full factorial", amounts(3), replicates=2)
    one, two = (extend(asked, standing(lay_out(asked)), Further(way="replicates")) for _ in range(2))
    assert one.added == two.added
    other = extend(replace(asked, seed=5), standing(lay_out(asked)), Further(way="replicates"))
    assert [run.code for run in added(one)] != [run.code for run in added(other)]


def test_shares_are_not_turned_round(standing):
    shares = tuple(DesignFactor(name=name, kind="share", of="flour", unit="%", total=100) for name in ("rye", "oat"))
    asked = request("mixture lattice", shares, degree=1, replicates=2)
    with pytest.raises(PlanError, match="make no whole"):
        extend(asked, standing(lay_out(asked)), Further(way="fold-over"))
