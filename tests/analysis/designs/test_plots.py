"""What is set seldom is set once for whole plots or strips, and judged by them."""

import os
import random
from collections import Counter
from itertools import pairwise

import pytest

from analysis.designs.plan import lay_out
from analysis.designs.requests import DesignFactor, DesignRequest, DesignResponse
from analysis.errors import PlanError

OVEN = DesignFactor(name="oven", kind="category", levels=("170 °C", "190 °C"), hard_to_change=True)
BATTER = DesignFactor(name="batter", kind="category", levels=("short", "long", "rested"), hard_to_change=True)
ACID = DesignFactor(name="acid", kind="category", levels=("yogurt", "lemon", "tartar"))
TRIES = 10_000 if os.environ.get("CRUMBWISE_LARGE") else 300
RISE = DesignResponse(name="rise", spread=1.0, matters=2.0)


def plan(kind, *factors, **more):
    asked = {"seed": 9, "responses": (RISE,), **more}
    return lay_out(DesignRequest(kind=kind, factors=factors, **asked))


def strata(laid):
    return {each["group"]: (each["terms"], each["df_error"]) for each in laid.design.judgement.strata}


def test_a_whole_plot_has_one_oven_and_every_acid():
    laid = plan("split-plot", OVEN, ACID, whole_plots=8)
    plots = {}
    for run in laid.runs:
        plots.setdefault(run.groups["whole plot"], []).append(run)
    assert len(plots) == 8
    for runs in plots.values():
        assert len({run.settings["oven"] for run in runs}) == 1
        assert sorted(run.settings["acid"] for run in runs) == sorted(ACID.levels)
        assert [run.bake_order for run in runs] == list(range(runs[0].bake_order, runs[0].bake_order + 3))
    assert Counter(runs[0].settings["oven"] for runs in plots.values()) == {"170 °C": 4, "190 °C": 4}
    # Cochran & Cox 1957, 7.1: a(r - 1) = 6 between whole plots, a(b - 1)(r - 1) = 12 within.
    assert strata(laid) == {"whole plot": (["oven"], 6), "bakes": (["acid", "oven:acid"], 12)}


def test_blocks_of_whole_plots_take_their_difference_out():
    laid = plan("split-plot", OVEN, ACID, block="day", replicates=5)
    days = Counter((run.block, run.settings["oven"], run.settings["acid"]) for run in laid.runs)
    assert set(days.values()) == {1}
    # (a - 1)(r - 1) = 4 and a(b - 1)(r - 1) = 16.
    assert strata(laid)["whole plot"] == (["oven"], 4)
    assert strata(laid)["bakes"][1] == 16


def test_what_is_set_seldom_is_known_less_finely():
    laid = plan("split-plot", OVEN, ACID, whole_plots=8)
    widths = laid.design.judgement.half_widths["rise"]
    # With a spread of 1 between whole plots too: t(6) sqrt(2 (1 + 1/3) / 4) for two means of four whole plots.
    assert widths["oven"] == pytest.approx(2.446912 * (2 * (1 + 1 / 3) / 4) ** 0.5, rel=1e-5)
    calm = DesignResponse(name="rise", spread=1.0, whole_plot_spread=0.0)
    steady = plan("split-plot", OVEN, ACID, whole_plots=8, responses=(calm,))
    assert steady.design.judgement.half_widths["rise"]["oven"] == pytest.approx(2.446912 * (2 / 12) ** 0.5, rel=1e-5)


def test_strips_cross_within_each_block():
    laid = plan("strip-plot", BATTER, OVEN, rows="batch", columns="load", block="day", replicates=4)
    for name, factor in (("batch", "batter"), ("load", "oven")):
        strips = {}
        for run in laid.runs:
            strips.setdefault(run.groups[name], set()).add((run.block, run.settings[factor]))
        assert all(len(each) == 1 for each in strips.values())
    assert set(Counter((run.groups["batch"], run.groups["load"]) for run in laid.runs).values()) == {1}
    loads = [run.groups["load"] for run in laid.runs]
    assert [a for a, b in pairwise(loads) if a != b] == list(dict.fromkeys(loads))[:-1]
    # (a - 1)(r - 1), (b - 1)(r - 1), (a - 1)(b - 1)(r - 1) for a = 3, b = 2, r = 4: Cochran & Cox 1957, 7.3.
    assert strata(laid) == {"batch": (["batter"], 6), "load": (["oven"], 3), "bakes": (["batter:oven"], 6)}
    assert laid.design.crossed_groups


def test_strips_are_as_sure_as_their_own_errors_allow():
    laid = plan("strip-plot", BATTER, OVEN, rows="batch", columns="load", block="day", replicates=4)
    widths = laid.design.judgement.half_widths["rise"]
    # Differences of two means, a = 3, b = 2, r = 4, all spreads 1: 2 (strips / r + bakes / (r b)) and
    # 2 (strips / r + bakes / (r a)); for what both do together 4 bakes / r (Cochran & Cox 1957, 7.3, from memory).
    assert widths["batter"] == pytest.approx(2.446912 * (2 * (1 / 4 + 1 / 8)) ** 0.5, rel=1e-5)
    assert widths["oven"] == pytest.approx(3.182446 * (2 * (1 / 4 + 1 / 12)) ** 0.5, rel=1e-5)
    assert widths["batter:oven"] == pytest.approx(2.446912 * (4 / 4) ** 0.5, rel=1e-5)


def test_oven_loads_hold_bakes_of_one_column_strip():
    named = {"rows": "batch", "columns": "oven setting", "block": "day", "replicates": 4, "oven_holds": 2}
    laid = plan("strip-plot", BATTER, OVEN, **named)
    loads = {}
    for run in laid.runs:
        loads.setdefault(run.groups["oven load"], []).append(run.groups["oven setting"])
    # Three bakes in each strip: two together and one alone.
    assert sorted(map(len, loads.values())) == [1] * 8 + [2] * 8
    assert all(len(set(strips)) == 1 for strips in loads.values())


def _category(name, count, *, hard):
    return DesignFactor(name=name, kind="category", levels=tuple("abcd"[:count]), hard_to_change=hard)


def _spans(labels):
    """How many unbroken runs of equal labels there are."""
    return 1 + sum(a != b for a, b in pairwise(labels))


def test_random_split_plots_keep_their_restrictions():
    chance = random.Random(11)
    for seed in range(TRIES):
        hard = [_category(f"oven {n}", chance.choice([2, 3]), hard=True) for n in range(chance.choice([1, 1, 2]))]
        easy = [_category(f"acid {n}", chance.choice([2, 3]), hard=False) for n in range(chance.choice([1, 1, 2]))]
        replicates, block = chance.choice([2, 3]), chance.choice([None, "day"])
        factors = chance.sample(hard + easy, len(hard + easy))
        laid = plan("split-plot", *factors, seed=seed, replicates=replicates, block=block, accept_few_df=True)
        assert len({run.code for run in laid.runs}) == len(laid.runs)
        assert set(Counter(tuple(run.settings.values()) for run in laid.runs).values()) == {replicates}
        plots = {}
        for run in laid.runs:
            plots.setdefault(run.groups["whole plot"], []).append(run)
        assert _spans([run.groups["whole plot"] for run in laid.runs]) == len(plots)
        for runs in plots.values():
            assert len({(run.block, *(run.settings[each.name] for each in hard)) for run in runs}) == 1
            within = {tuple(run.settings[each.name] for each in easy) for run in runs}
            assert len(within) == len(runs) == len(laid.runs) // len(plots)
        if block is not None:
            assert _spans([run.block for run in laid.runs]) == replicates
            in_days = Counter((run.block, *run.settings.values()) for run in laid.runs)
            assert set(in_days.values()) == {1}


def test_random_strip_plots_keep_their_restrictions():
    chance = random.Random(13)
    for seed in range(TRIES):
        a, b, r = chance.choice([2, 3, 4]), chance.choice([2, 3]), chance.choice([2, 3])
        factors = [_category("batter", a, hard=True), _category("oven", b, hard=True)]
        within = chance.choice([0, 0, 2])
        if within:
            factors.insert(chance.randrange(3), _category("acid", within, hard=False))
        named = {"rows": "batch", "columns": "load", "block": "day"}
        laid = plan("strip-plot", *factors, seed=seed, replicates=r, accept_few_df=True, **named)
        assert len({run.code for run in laid.runs}) == len(laid.runs) == a * b * r * (within or 1)
        for group, name, strips in (("batch", "batter", a * r), ("load", "oven", b * r)):
            held = {(run.groups[group], run.block, run.settings[name]) for run in laid.runs}
            assert len(held) == len({run.groups[group] for run in laid.runs}) == strips
        cells = Counter((run.groups["batch"], run.groups["load"]) for run in laid.runs)
        assert set(cells.values()) == {within or 1}
        assert _spans([run.groups["load"] for run in laid.runs]) == b * r
        if not within:
            found = {group: df for group, (_, df) in strata(laid).items()}
            expected = [(a - 1) * (r - 1), (b - 1) * (r - 1), (a - 1) * (b - 1) * (r - 1)]
            assert found == dict(zip(("batch", "load", "bakes"), expected, strict=True))


def test_a_dose_of_three_asks_for_its_bend_and_two_hard_factors_make_whole_plots_together():
    soda = DesignFactor(name="soda", kind="amount", low=0, high=2, n_levels=3)
    laid = plan("split-plot", OVEN, soda, BATTER, replicates=2)
    assert laid.design.model == "quadratic"
    kept = {(run.groups["whole plot"], run.settings["oven"], run.settings["batter"]) for run in laid.runs}
    assert len(kept) == len({run.groups["whole plot"] for run in laid.runs}) == 12
    terms, df = strata(laid)["whole plot"]
    # Six settings set twice: 6 (2 - 1) between whole plots.
    assert (set(terms), df) == ({"oven", "batter", "oven:batter"}, 6)


def test_the_plans_of_this_seed_are_written_down():
    # Golden: a change would make stored seeds useless.
    split = plan("split-plot", OVEN, ACID, whole_plots=8).runs[:3]
    assert [(run.code, run.settings["oven"], run.settings["acid"]) for run in split] == SPLIT
    strip = plan("strip-plot", BATTER, OVEN, rows="batch", columns="load", block="day", replicates=4).runs[:3]
    assert [(run.code, run.settings["batter"], run.settings["oven"]) for run in strip] == STRIP


STRIPS = {"rows": "batch", "columns": "load", "block": "day", "replicates": 4}


@pytest.mark.parametrize(
    ("kind", "factors", "keys", "golden"),
    [
        ("split-plot", (OVEN, ACID), {"whole_plots": 8}, "34b5e35ba8ce4f6c"),
        ("split-plot", (OVEN, ACID), {"block": "day", "replicates": 5}, "b89d11bee1317ab3"),
        ("strip-plot", (BATTER, OVEN), STRIPS, "f0adc75cdc6bfcc2"),
        ("strip-plot", (BATTER, OVEN, ACID), STRIPS, "5f8b3465e0fe1c68"),
    ],
)
def test_whole_plans_of_a_stored_seed_never_change(kind, factors, keys, golden, digest):
    assert digest(plan(kind, *factors, **keys)) == golden


SPLIT = [("836", "190 °C", "lemon"), ("414", "190 °C", "yogurt"), ("459", "190 °C", "tartar")]
STRIP = [("836", "rested", "170 °C"), ("414", "short", "170 °C"), ("459", "long", "170 °C")]


@pytest.mark.parametrize(
    ("kind", "factors", "more", "match"),
    [
        ("split-plot", (ACID,), {}, "No factor is hard"),
        ("split-plot", (OVEN,), {}, "Every factor is hard"),
        ("split-plot", (OVEN, ACID), {"whole_plots": 7}, "equally often"),
        ("split-plot", (OVEN, ACID), {"whole_plots": 0}, "equally often"),
        ("split-plot", (OVEN, ACID), {"whole_plots": 8, "replicates": 3}, "are 6 whole plots, not 8"),
        ("split-plot", (OVEN, ACID), {"whole_plots": 10**9}, "at most 865"),
        ("split-plot", (OVEN, ACID), {"block": "whole plot", "replicates": 4}, "name two things"),
        ("strip-plot", (OVEN, BATTER), {"rows": "a", "columns": "b", "block": "a", "replicates": 3}, "two things"),
        ("strip-plot", (OVEN, BATTER), {"rows": "a", "columns": "b", "block": "d", "replicates": 10**9}, "at most 865"),
        ("split-plot", (OVEN, ACID), {"whole_plots": 2}, "between whole plots"),
        ("split-plot", (OVEN, ACID), {"block": "day", "block_size": 4, "replicates": 4}, "would cut one"),
        ("strip-plot", (OVEN, ACID), {"rows": "a", "columns": "b", "block": "day", "replicates": 3}, "two factors"),
        ("strip-plot", (OVEN, BATTER), {"columns": "b", "block": "day", "replicates": 3}, "rows of a strip-plot"),
        ("strip-plot", (OVEN, BATTER), {"rows": "a", "columns": "b", "block": "day"}, "One block"),
    ],
)
def test_what_cannot_be_set_so_says_why(kind, factors, more, match):
    with pytest.raises(PlanError, match=match) as caught:
        plan(kind, *factors, **more)
    assert caught.value.try_this
