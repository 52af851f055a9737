"""Do models with groups keep their promises: exact where balanced, honest where not, in words at the edge?

2,000 draws each with CRUMBWISE_LARGE=1, else 60: error rates and coverage within three standard errors.
"""

import os

import numpy as np
import pandas as pd
import pytest

from analysis.bakes import bake_table
from analysis.engine import analyse
from analysis.errors import NotPossible, TrialDataError
from analysis.linear.factors import factor_model
from analysis.mixed.reml import fit_reml
from analysis.mixed.terms import RandomTerm
from analysis.questions import Factor, Question, Response

DRAWS = 2000 if os.environ.get("CRUMBWISE_LARGE") else 60
RISE = Response(name="rise")


def category(name, levels=()):
    return Factor(name=name, kind="category", levels=tuple(levels))


def frame(columns, y):
    table = pd.DataFrame({**columns, "rise": y})
    for name in table.columns.drop("rise"):
        if table[name].dtype.kind not in "if":
            table[name] = pd.Categorical(table[name], categories=list(dict.fromkeys(table[name])), ordered=True)
    return table.assign(bake=[str(i) for i in range(len(table))], order=range(len(table)), readings=1)


def ask(table, factors, **more):
    return factor_model(table, RISE, Question(factors=factors, responses=(RISE,), **more))


@pytest.fixture
def rng():
    return np.random.Generator(np.random.PCG64(17))


def split_plot(rng, *, loads=8, per=3, sd=(2.0, 1.0), keep=None):
    load = np.repeat(np.arange(loads), per)
    columns = {
        "oven": np.array(["hot", "mild"])[load % 2],
        "flour": np.tile(np.array(list("abc"))[:per], loads),
        "load": load.astype(str),
    }
    y = 50 + rng.normal(0, sd[0], loads)[load] + rng.normal(0, sd[1], len(load))
    chosen = np.ones(len(y), dtype=bool) if keep is None else keep
    return frame({name: values[chosen] for name, values in columns.items()}, y[chosen])


SPLIT = (category("oven"), category("flour"))


def test_kenward_roger_equals_the_strata_where_groups_are_alike(rng):
    for draw in range(10):
        table = split_plot(rng, loads=(4, 6, 8, 10)[draw % 4])
        exact = ask(table, SPLIT, group=("load",))
        if any(line.boundary for line in exact.variances):
            continue
        assert exact.model.df_method == "strata"
        # The same by REML: columns summing to zero, written out here once more.
        oven = np.where(table["oven"] == "hot", -1.0, 1.0)
        flour = np.column_stack([(table["flour"] == k).astype(float) - (table["flour"] == "a") for k in "bc"])
        x = np.column_stack([np.ones(len(table)), oven, flour, flour * oven[:, None]])
        fit = fit_reml(table["rise"].to_numpy(), x, [RandomTerm("load", table["load"].cat.codes.to_numpy(np.int64))])
        tests = {test.term: test for test in exact.tests}
        for term, rows in (("oven", [1]), ("flour", [2, 3]), ("oven:flour", [4, 5])):
            value, df, df_error = fit.f_test(np.eye(6)[rows])
            assert (value, df, df_error) == pytest.approx(
                (tests[term].value, tests[term].df, tests[term].df_error), rel=1e-5
            )
        mean = next(m for m in exact.means if m.factor == "oven" and m.level == "hot")
        _, se, df = fit.contrast(np.array([1.0, -1, 0, 0, 0, 0]))
        assert (mean.se, mean.df) == pytest.approx((se, df), rel=1e-5)


def test_a_variance_of_zero_keeps_the_exact_test_and_says_so(rng):
    table = split_plot(rng, loads=8, sd=(0.0, 1.0))
    means = table.groupby("load", observed=True)["rise"].transform("mean")
    table["rise"] = table["rise"] - means + 50 + 0.01 * means  # loads differ less than bakes make them differ
    found = ask(table, SPLIT, group=("load",))
    assert found.variances[0].boundary
    assert found.variances[0].variance == 0
    test = next(test for test in found.tests if test.term == "oven")
    assert (test.stratum, test.df_error) == ("load", 6)
    assert [check.check for check in found.checks if "scatter" in check.check] == ["no scatter between groups"]
    gap = ask(table.iloc[1:].reset_index(drop=True), SPLIT, group=("load",))
    test = next(test for test in gap.tests if test.term == "oven")
    assert gap.model.df_method == "Kenward-Roger"
    assert test.df_error <= 6


def test_a_plot_for_each_level_cannot_tell(rng):
    table = split_plot(rng, loads=2)
    found = ask(table, SPLIT, group=("load",))
    assert next(test for test in found.tests if test.term == "oven").p is None
    uneven = ask(table.iloc[1:].reset_index(drop=True), SPLIT, group=("load",))
    assert next(test for test in uneven.tests if test.term == "oven").p is None
    for answer in (found, uneven):
        check = next(check for check in answer.checks if check.check == "set with the group")
        assert check.facts["terms"] == ("oven",)
        assert next(test for test in answer.tests if test.term == "flour").p is not None


def test_two_days_are_taken_as_a_block(rng):
    day = np.repeat(["mon", "tue"], 6)
    table = frame({"day": day, "flour": np.tile(list("abc"), 4)}, rng.normal(50, 1, 12))
    found = ask(table, (category("flour"),), group=("day",))
    assert not found.variances
    assert [test.term for test in found.tests] == ["day", "flour"]
    assert any(check.check == "too few groups" for check in found.checks)


def test_groups_within_groups_and_across(rng):
    table = frame(
        {
            "flour": np.tile(list("ab"), 36),
            "day": np.repeat(list("uvwxyz"), 12),
            "batch": np.repeat([f"{d}{b}" for d in "uvwxyz" for b in "123"], 4),
            "oven": np.tile(np.repeat(["1", "2", "3"], 1), 24),
        },
        rng.normal(50, 1, 72)
        + np.repeat(rng.normal(0, 3, 6), 12)
        + np.repeat(rng.normal(0, 2, 18), 4)
        + np.tile(rng.normal(0, 2, 3), 24),
    )
    nested = ask(table, (category("flour"),), group=("day", "batch"))
    assert [line.group for line in nested.variances] == ["day", "day+batch", "residual"]
    crossed = ask(table, (category("flour"),), group=("day", "batch"), crossed=(("oven",),))
    assert [line.group for line in crossed.variances] == ["oven", "day", "day+batch", "residual"]
    assert crossed.model.groups == ("oven", "day", "day+batch")
    assert crossed.residual.sd < nested.residual.sd


def test_slopes_are_refused_in_words_where_they_make_no_sense(rng):
    table = split_plot(rng)
    with pytest.raises(TrialDataError, match="no amount"):
        ask(table, SPLIT, group=("load",), slopes=(("flour", "load"),))
    table["soda"] = np.tile([1.0, 2.0, 3.0], 8)
    table["proof"] = np.tile([1.0, 3.0, 2.0], 8)
    amounts = (Factor(name="soda", kind="amount"), Factor(name="proof", kind="amount"))
    with pytest.raises(NotPossible, match="Only one slope"):
        ask(table, amounts, group=("load",), slopes=(("soda", "load"), ("proof", "load")))
    table["still"] = table["load"].cat.codes.astype(float)
    found = ask(table, (Factor(name="still", kind="amount"),), slopes=(("still", "load"),))
    assert any(check.check == "slope left out" for check in found.checks)


def assessed(rng, *, effect=0.0, bakes=12, panel=4, gaps=0):
    """Bakes of two flours, each scored by a panel: bakes, assessors and readings scatter."""
    bake = np.repeat(np.arange(bakes), panel)
    person = np.tile(np.arange(panel), bakes)
    flour = np.array(["a", "b"])[bake % 2]
    y = 50 + rng.normal(0, 1.5, bakes)[bake] + rng.normal(0, 2, panel)[person] + rng.normal(0, 1, len(bake))
    table = pd.DataFrame({"loaf": bake.astype(str), "assessor": person.astype(str), "flour": flour})
    table["rise"] = y + effect * (flour == "b")
    return table.drop(rng.choice(len(table), gaps, replace=False)).reset_index(drop=True)


ASSESSED = Question(factors=(category("flour", "ab"),), responses=(RISE,), bake="loaf", group=("assessor",))


def test_assessors_keep_their_readings_apart_and_the_bake_stays_the_unit(rng):
    table = assessed(rng, gaps=3)
    (result,) = analyse(table, ASSESSED).responses
    assert (result.n_bakes, result.n_readings) == (12, 45)
    assert [line.group for line in result.family.variances] == ["assessor", "loaf", "residual"]
    (test,) = result.family.tests
    assert test.stratum == "loaf"
    assert test.df_error == pytest.approx(10, abs=0.8)  # twelve bakes of two flours
    check = next(check for check in result.checks if check.check == "experimental unit")
    assert (check.verdict, check.facts["apart"]) == ("fine", ("assessor",))


def test_one_slip_in_a_group_is_told_as_one(rng):
    table = assessed(rng)
    table["assessor"] = np.repeat(np.arange(3).repeat(4), 4).astype(str)  # here a day, the same for a whole bake
    table.loc[1, "assessor"] = "9"
    with pytest.raises(TrialDataError, match="more than one value"):
        bake_table(table, RISE, ASSESSED)


def rate(wrong, draws, wanted=0.05):
    return abs(wrong / draws - wanted) < 3 * (wanted * (1 - wanted) / draws) ** 0.5 + 1e-9


def test_nested_readings_without_an_effect_err_in_five_percent(rng):
    wrong = 0
    for _ in range(DRAWS):
        bakes = bake_table(assessed(rng, gaps=4), RISE, ASSESSED).bakes
        (test,) = factor_model(bakes, RISE, ASSESSED).tests
        wrong += test.p < 0.05
    assert rate(wrong, DRAWS), wrong


@pytest.mark.parametrize("sd", [(2.0, 1.0), (0.7, 1.0)], ids=["wide", "narrow"])
def test_uneven_split_plots_err_in_five_percent_and_cover(sd, rng):
    wrong, covered, draws = {"oven": 0, "flour": 0}, 0, DRAWS
    for _ in range(draws):
        keep = np.ones(24, dtype=bool)
        keep[rng.choice(24, 3, replace=False)] = False
        found = ask(split_plot(rng, sd=sd, keep=keep), SPLIT, group=("load",), order=1)
        for test in found.tests:
            wrong[test.term] += test.p < 0.05
        mean = next(m for m in found.means if m.factor == "oven" and m.level == "hot")
        covered += mean.low <= 50 <= mean.high
    assert all(rate(count, draws) for count in wrong.values()), wrong
    assert rate(draws - covered, draws), covered


def test_blocks_that_lost_bakes_cover(rng):
    covered = 0
    for _ in range(DRAWS):
        day = np.repeat(np.arange(6), 4)
        flour = np.tile(list("abcd"), 6)
        y = 50 + rng.normal(0, 1.5, 6)[day] + rng.normal(0, 1, 24)
        keep = np.ones(24, dtype=bool)
        keep[rng.choice(24, 5, replace=False)] = False
        table = frame({"day": day.astype(str)[keep], "flour": flour[keep]}, y[keep])
        found = ask(table, (category("flour"),), group=("day",))
        effect = next(c for c in found.coefficients if c.term == "flour[a]")
        covered += effect.low <= 0 <= effect.high
    assert rate(DRAWS - covered, DRAWS), covered
