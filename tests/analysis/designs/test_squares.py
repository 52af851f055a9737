"""Squares meet each treatment once where they say so, and refuse what does not exist."""

import os
import random
from collections import Counter

import pytest

from analysis.designs.plan import lay_out
from analysis.designs.requests import DesignFactor, DesignRequest
from analysis.errors import PlanError

LETTERS = tuple("abcdefghijklm")
TRIES = 10_000 if os.environ.get("CRUMBWISE_LARGE") else 300


def factor(name, count):
    return DesignFactor(name=name, kind="category", levels=LETTERS[:count])


def square(*factors, **more):
    asked = {"rows": "shelf", "columns": "turn", "seed": 3, "accept_few_df": True, **more}
    kind = "latin square" if len(factors) == 1 else "graeco-latin square"
    return lay_out(DesignRequest(kind=kind, factors=factors, **asked))


@pytest.mark.parametrize("size", range(2, 13))
def test_each_level_stands_once_in_each_row_and_column(size):
    plan = square(factor("flour", size))
    cells = Counter((run.groups["shelf"], run.groups["turn"]) for run in plan.runs)
    assert set(cells.values()) == {1}
    assert len(cells) == size * size
    for group in ("shelf", "turn"):
        met = Counter((run.groups[group], run.settings["flour"]) for run in plan.runs)
        assert set(met.values()) == {1}
    # (k - 1)(k - 2) error degrees of freedom: Cochran & Cox 1957, 4.3.
    assert plan.design.judgement.df_error == (size - 1) * (size - 2)
    assert plan.design.fixed_groups == ("shelf", "turn")


@pytest.mark.parametrize("size", [3, 4, 5, 7, 8, 9, 10, 11, 12])
def test_two_factors_also_meet_each_other_once(size):
    plan = square(factor("flour", size), factor("tin", size))
    met = Counter((run.settings["flour"], run.settings["tin"]) for run in plan.runs)
    assert len(met) == size * size
    for group in ("shelf", "turn"):
        for name in ("flour", "tin"):
            assert set(Counter((run.groups[group], run.settings[name]) for run in plan.runs).values()) == {1}
    # (k - 1)(k - 3): Cochran & Cox 1957, 4.4.
    assert plan.design.judgement.df_error == (size - 1) * (size - 3)


def test_turns_are_baked_in_their_order():
    plan = square(factor("flour", 5))
    assert [run.groups["turn"] for run in plan.runs] == sorted(run.groups["turn"] for run in plan.runs)
    shelves = [[run.groups["shelf"] for run in plan.runs if run.groups["turn"] == turn] for turn in "12345"]
    assert len({tuple(each) for each in shelves}) > 1


def _labels(plan, group):
    return {run.groups[group] for run in plan.runs}


def test_a_second_square_takes_further_turns_on_the_same_shelves():
    plan = square(factor("flour", 4), replicates=2)
    assert _labels(plan, "shelf") == set("1234")
    assert _labels(plan, "turn") == set("12345678")
    assert set(Counter((run.groups["turn"], run.settings["flour"]) for run in plan.runs).values()) == {1}
    assert plan.design.judgement.df_error == 32 - 1 - 3 - 7 - 3


def test_a_second_square_takes_further_days_with_the_same_turns():
    for rows, columns in (("bake day", "turn of the day"), ("turn of the day", "bake day")):
        plan = square(factor("flour", 4), rows=rows, columns=columns, replicates=2)
        assert _labels(plan, "turn of the day") == set("1234")
        assert _labels(plan, "bake day") == set("12345678")
        # Turns follow each other within a day, and days in the trial.
        times = [(run.groups["bake day"], run.groups["turn of the day"]) for run in plan.runs]
        assert times == sorted(times)
        assert (plan.design.block, plan.design.blocks) == ("bake day", 8)
        assert all(run.block == run.groups["bake day"] for run in plan.runs)


def test_without_time_a_second_square_has_rows_of_its_own():
    plan = square(factor("flour", 4), columns="side", replicates=2)
    assert (len(_labels(plan, "shelf")), len(_labels(plan, "side"))) == (8, 4)
    assert plan.design.block is None


@pytest.mark.parametrize(
    ("rows", "columns", "in_time"),
    [
        ("week", "day of the week", ["week", "day of the week"]),
        ("oven load", "bake days", ["bake days", "oven load"]),
        ("border", "Bake-Turn", ["Bake-Turn"]),
        ("time of day", "oven", ["time of day"]),
        ("weekday", "hour", ["weekday", "hour"]),
        ("baker", "place in the oven", []),
    ],
)
def test_what_stands_for_time_is_known_by_its_name(rows, columns, in_time):
    plan = square(factor("flour", 5), rows=rows, columns=columns, seed=8)
    baked = [tuple(run.groups[name] for name in in_time) for run in plan.runs]
    assert baked == sorted(baked)
    for name in {rows, columns} - set(in_time):
        labels = [run.groups[name] for run in plan.runs]
        assert labels != sorted(labels)


def test_oven_loads_never_mix_turns():
    plan = square(factor("flour", 5), oven_holds=4)
    loads = {}
    for run in plan.runs:
        loads.setdefault(run.groups["oven load"], []).append(run.groups["turn"])
    assert all(len(set(turns)) == 1 for turns in loads.values())
    assert sorted(map(len, loads.values())) == [1] * 5 + [4] * 5


def test_without_time_the_whole_square_is_baked_in_a_random_order():
    runs = square(factor("flour", 5), columns="side").runs
    for group in ("shelf", "side"):
        labels = [run.groups[group] for run in runs]
        assert labels != sorted(labels)


def test_random_squares_keep_their_promises():
    chance = random.Random(7)
    for seed in range(TRIES):
        size, two = chance.choice([3, 4, 5, 7]), chance.random() < 0.5
        names = ["flour", "tin"][: 1 + two]
        replicates = chance.choice([1, 1, 2])
        plan = square(*(factor(name, size) for name in names), seed=seed, replicates=replicates)
        assert len({run.code for run in plan.runs}) == len(plan.runs) == size * size * replicates
        assert len({(run.groups["shelf"], run.groups["turn"]) for run in plan.runs}) == len(plan.runs)
        for name in names:
            in_turns = Counter((run.groups["turn"], run.settings[name]) for run in plan.runs)
            assert set(in_turns.values()) == {1}
            assert len(in_turns) == size * size * replicates
            # Squares share their shelves, so that each level stands there once for each square.
            assert set(Counter((run.groups["shelf"], run.settings[name]) for run in plan.runs).values()) == {replicates}
        pairs = Counter(tuple(run.settings[name] for name in names) for run in plan.runs)
        assert set(pairs.values()) == {replicates if two else size * replicates}
        turns = [run.groups["turn"] for run in plan.runs]
        assert turns == sorted(turns)


def test_the_square_of_this_seed_is_written_down():
    # Golden: a change would make stored seeds useless.
    runs = square(factor("flour", 4)).runs
    assert [(run.code, run.groups["shelf"], run.settings["flour"]) for run in runs[:5]] == GOLDEN


def test_the_square_of_two_factors_of_this_seed_is_written_down():
    # Golden: a change would make stored seeds useless.
    runs = square(factor("flour", 4), factor("tin", 4)).runs
    assert [(run.code, run.groups["shelf"], run.settings["flour"], run.settings["tin"]) for run in runs[:4]] == PAIRS


WHOLE = [
    (1, 4, 1, "b336b4c22d5a6048"),
    (1, 5, 2, "74ffcfae45c06d2a"),
    (2, 4, 1, "8f10459ed6e112b2"),
    (2, 5, 1, "f1436ed095f834b0"),
    (2, 10, 1, "fe3328f92d52a18b"),
    (2, 12, 1, "e005332626e66b57"),
]


@pytest.mark.parametrize(("factors", "size", "replicates", "golden"), WHOLE)
def test_whole_squares_of_a_stored_seed_never_change(factors, size, replicates, golden, digest):
    names = ["flour", "tin"][:factors]
    assert digest(square(*(factor(name, size) for name in names), replicates=replicates)) == golden


PAIRS = [("512", "4", "b", "b"), ("357", "1", "a", "d"), ("510", "2", "d", "a"), ("960", "3", "c", "c")]
GOLDEN = [("512", "4", "b"), ("357", "2", "a"), ("510", "3", "d"), ("960", "1", "c"), ("165", "1", "b")]


@pytest.mark.parametrize(
    ("factors", "more", "match"),
    [
        ((factor("flour", 4),), {"rows": None}, "rows of the square"),
        ((factor("flour", 4),), {"columns": "shelf"}, "name two things"),
        ((factor("flour", 4), factor("tin", 5)), {}, "as many levels"),
        ((factor("flour", 6), factor("tin", 6)), {}, "No Graeco-Latin square of 6"),
        ((factor("flour", 2), factor("tin", 2)), {}, "No Graeco-Latin square of 2"),
        ((factor("flour", 13), factor("tin", 13)), {}, "more than 12"),
        ((factor("flour", 13),), {}, "more than 12"),
        ((factor("flour", 4),), {"replicates": 10**9}, "at most 865"),
        ((factor("flour", 4), factor("tin", 4), factor("fat", 4)), {}, "3 factor"),
        ((factor("flour", 4),), {"columns": "oven load", "oven_holds": 2}, "name two things"),
        ((factor("flour", 3), factor("tin", 3)), {"accept_few_df": False}, "degrees of freedom"),
        ((factor("flour", 3),), {"accept_few_df": False}, "degrees of freedom"),
        ((factor("flour", 4),), {"block": "day"}, "does not use block"),
    ],
)
def test_what_is_no_square_says_why(factors, more, match):
    with pytest.raises(PlanError, match=match) as caught:
        square(*factors, **more)
    assert caught.value.try_this
