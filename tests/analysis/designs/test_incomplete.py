"""Incomplete blocks are balanced where they can be, and as even as a search makes them elsewhere."""

import os
from collections import Counter
from itertools import combinations

import pytest

from analysis.designs.incomplete import incidence
from analysis.designs.plan import lay_out
from analysis.designs.requests import DesignFactor, DesignRequest
from analysis.errors import PlanError

NAMES = tuple("abcdefghijklmnopqrstuvwxyz")
TRIES = 10_000 if os.environ.get("CRUMBWISE_LARGE") else 300


def plan(treatments, size, replicates, **more):
    flour = DesignFactor(name="flour", kind="category", levels=NAMES[:treatments])
    asked = {"block": "day", "block_size": size, "replicates": replicates, "seed": 2, "accept_few_df": True, **more}
    return lay_out(DesignRequest(kind="incomplete blocks", factors=(flour,), **asked))


# t, k, r, b, lambda: Cochran & Cox 1957, Table 11.3 (from memory; each is checked by counting).
BALANCED = [(4, 2, 3, 6, 1), (4, 3, 3, 4, 2), (5, 2, 4, 10, 1), (5, 3, 6, 10, 3), (6, 3, 10, 20, 4), (7, 3, 3, 7, 1),
            (6, 3, 5, 10, 2), (7, 4, 4, 7, 2), (8, 4, 7, 14, 3), (9, 3, 4, 12, 1), (10, 4, 6, 15, 2), (11, 5, 5, 11, 2),
            (13, 3, 6, 26, 1), (13, 4, 4, 13, 1), (15, 7, 7, 15, 3), (16, 4, 5, 20, 1), (16, 6, 6, 16, 2),
            (19, 9, 9, 19, 4), (21, 5, 5, 21, 1), (25, 5, 6, 30, 1)]  # fmt: skip


@pytest.mark.parametrize(("t", "k", "r", "b", "pairs"), BALANCED)
def test_balanced_blocks_let_every_two_meet_equally_often(t, k, r, b, pairs):
    laid = plan(t, k, r)
    blocks = {}
    for run in laid.runs:
        blocks.setdefault(run.block, []).append(run.settings["flour"])
    assert len(blocks) == b
    assert all(len(set(each)) == k for each in blocks.values())
    assert set(Counter(run.settings["flour"] for run in laid.runs).values()) == {r}
    met = Counter(pair for each in blocks.values() for pair in combinations(sorted(each), 2))
    assert set(met.values()) == {pairs}
    assert len(met) == t * (t - 1) // 2
    # Efficiency t (k - 1) / (k (t - 1)): Yates 1936.
    assert laid.design.properties["efficiency"] == pytest.approx(t * (k - 1) / (k * (t - 1)), abs=1e-6)
    assert laid.design.properties["balanced"] is True
    assert laid.design.judgement.df_error == t * r - t - b + 1


@pytest.mark.parametrize(("t", "k", "r"), [(6, 3, 2), (8, 4, 3), (9, 3, 3), (10, 5, 3), (12, 4, 3), (6, 2, 3)])
def test_elsewhere_meetings_differ_by_little_and_all_can_be_compared(t, k, r):
    found = incidence(t, k, r, seed=5)
    bound = t * (k - 1) / (k * (t - 1))
    assert found.most - found.fewest <= 1 + (t == 8)  # an uneven pair there makes the whole more efficient
    assert 0.9 * bound < found.efficiency <= bound + 1e-12


def test_square_lattices_let_two_meet_at_most_once():
    for size, replicates in ((3, 2), (4, 3), (5, 2), (7, 4), (8, 3)):
        found = incidence(size * size, size, replicates, seed=1)
        assert (found.fewest, found.most) == (0, 1)
        assert found.efficiency > 0


def test_many_treatments_are_shared_out_without_a_long_search():
    # Searches that would go on for hours end: the first has base blocks nobody finds in a while.
    for t, k, r in ((29, 14, 28), (100, 2, 2), (216, 4, 4)):
        found = incidence(t, k, r, seed=3)
        assert found.efficiency > 0
        assert all(len(set(block)) == k for block in found.members)
        assert set(Counter(at for block in found.members for at in block).values()) == {r}


def test_combinations_of_factors_are_treatments():
    flour = DesignFactor(name="flour", kind="category", levels=("wheat", "rye"))
    soda = DesignFactor(name="soda", kind="amount", low=1, high=2)
    asked = {"block": "day", "block_size": 3, "replicates": 3, "seed": 2}
    laid = lay_out(DesignRequest(kind="incomplete blocks", factors=(flour, soda), **asked))
    assert laid.design.model == "interactions"
    assert set(Counter(tuple(run.settings.values()) for run in laid.runs).values()) == {3}
    # 12 bakes - 4 treatments - 4 blocks + 1.
    assert laid.design.judgement.df_error == 5


def test_random_plans_keep_their_promises():
    kept = 0
    for seed in range(TRIES):
        t, k, r = 4 + seed % 7, 2 + seed % 3, 2 + seed % 4
        if k >= t or t * r % k:
            continue
        laid = plan(t, k, r, seed=seed)
        codes = [run.code for run in laid.runs]
        assert len(set(codes)) == len(codes)
        assert set(Counter(run.settings["flour"] for run in laid.runs).values()) == {r}
        assert set(Counter(run.block for run in laid.runs).values()) == {k}
        assert set(Counter((run.block, run.settings["flour"]) for run in laid.runs).values()) == {1}
        assert laid.design.judgement.df_error == t * r - t - t * r // k + 1
        kept += 1
    assert kept > TRIES / 4


def test_the_blocks_of_this_seed_are_written_down():
    # Golden: a change would make stored seeds useless.
    assert [(run.code, run.block, run.settings["flour"]) for run in plan(7, 3, 3).runs[:4]] == GOLDEN


@pytest.mark.parametrize(
    ("asked", "golden"),
    [
        ((7, 3, 3), "b9ef7b6337875a96"),
        ((16, 4, 5), "8738c02a9c4e6dc6"),
        ((6, 4, 4), "99b13293a08af0e9"),
        ((20, 4, 3), "28b6c325f2769a00"),
    ],
)
def test_whole_plans_of_a_stored_seed_never_change(asked, golden, digest):
    # Two are constructed, two are searched: both ways have to come out the same on every platform.
    assert digest(plan(*asked)) == golden


GOLDEN = [("150", "1", "d"), ("721", "1", "e"), ("590", "1", "a"), ("597", "2", "a")]


@pytest.mark.parametrize(
    ("t", "k", "r", "more", "match"),
    [
        (7, 3, 2, {}, "do not fill blocks of 3"),
        (4, 4, 2, {}, "not a part of"),
        (4, 1, 2, {}, "not a part of"),
        (6, 2, 1, {}, "never be compared"),
        (4, 2, 3 * 10**9, {}, "at most 865"),
        (6, 3, 2, {"block": None}, "a name and a size"),
    ],
)
def test_blocks_that_cannot_be_say_why(t, k, r, more, match):
    with pytest.raises(PlanError, match=match) as caught:
        plan(t, k, r, **more)
    assert caught.value.try_this
