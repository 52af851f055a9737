"""Are whole plots filled as well as they can be, and are they kept whole?"""

from itertools import combinations, combinations_with_replacement, product

import numpy as np
import pytest

from analysis.designs.optimal import exchange, exchange_split
from analysis.errors import PlanError


def covariance(sizes, ratio):
    labels = np.repeat(np.arange(len(sizes)), sizes)
    return np.eye(len(labels)) + ratio * (labels[:, None] == labels[None, :])


def information(rows, sizes, ratio):
    return rows.T @ np.linalg.solve(covariance(sizes, ratio), rows)


def two_by_three():
    """One hard factor at two levels, one easy one at three: mean, both, interaction, square."""
    points = np.array(list(product([-1.0, 1.0], [-1.0, 0.0, 1.0])))
    hard, easy = points.T
    return (
        np.column_stack([np.ones(6), points, hard * easy, easy**2]),
        (hard > 0).astype(int),
        (easy + 1).astype(int),
    )


@pytest.mark.parametrize("criterion", ["D", "I"])
@pytest.mark.parametrize("ratio", [0.0, 1.0, 10.0])
@pytest.mark.parametrize("sizes", [(2, 2, 2), (3, 1, 2)])
def test_no_filling_of_the_whole_plots_is_better(criterion, ratio, sizes):
    terms, hard, easy = two_by_three()
    moments = terms.T @ terms / 6
    found = exchange_split(
        terms, hard=hard, easy=easy, plots=sizes, ratio=ratio, criterion=criterion, seed=2, starts=80
    )
    fillings = [
        [rows for h in (0, 1) for rows in combinations_with_replacement(np.flatnonzero(hard == h), size)]
        for size in sizes
    ]
    every = [information(terms[np.concatenate(rows)], sizes, ratio) for rows in product(*fillings)]
    ours = information(terms[found.rows], sizes, ratio)
    assert found.log_det == pytest.approx(np.linalg.slogdet(ours)[1])
    assert found.i_value == pytest.approx(np.trace(np.linalg.inv(ours) @ moments))
    if criterion == "D":
        assert found.log_det == pytest.approx(max(np.linalg.slogdet(each)[1] for each in every))
    else:
        told = [each for each in every if np.linalg.slogdet(each)[1] > -15]
        assert found.i_value == pytest.approx(min(np.trace(np.linalg.inv(each) @ moments) for each in told))


def surface(factors):
    points = np.array(list(product([-1.0, 0.0, 1.0], repeat=factors)))
    pairs = [points[:, a] * points[:, b] for a, b in combinations(range(factors), 2)]
    terms = np.column_stack([np.ones(len(points)), points, points**2, *pairs])
    return (
        points,
        terms,
        (points[:, 0] + 1).astype(int),
        ((points[:, 1:] + 1) @ 3 ** np.arange(factors - 1)).astype(int),
    )


def test_hard_settings_are_the_same_within_a_whole_plot():
    points, terms, hard, easy = surface(3)
    sizes = (3, 3, 3, 3, 4)
    found = exchange_split(terms, hard=hard, easy=easy, plots=sizes, seed=1, starts=30)
    for part in np.split(points[found.rows, 0], np.cumsum(sizes)[:-1]):
        assert len(set(part)) == 1
    assert set(points[found.rows, 0]) == {-1, 0, 1}


def test_it_is_better_than_splitting_a_design_that_knew_no_whole_plots():
    """The free optimum, its runs sorted by the hard factor into whole plots, tells less."""
    points, terms, hard, easy = surface(3)
    sizes = (4,) * 6
    found = exchange_split(terms, hard=hard, easy=easy, plots=sizes, ratio=4, seed=1)
    free = exchange(terms, 24, seed=1)
    by_hard = free.rows[np.argsort(points[free.rows, 0], kind="stable")]
    assert found.log_det > np.linalg.slogdet(information(terms[by_hard], sizes, 4))[1]


def test_without_shared_error_every_factor_easy_it_is_the_free_design():
    _, terms, _, _ = surface(2)
    every = np.arange(len(terms))
    split = exchange_split(terms, hard=np.zeros(9, dtype=int), easy=every, plots=(3, 3, 3), ratio=0, seed=1)
    free = exchange(terms, 9, seed=1)
    assert split.log_det == pytest.approx(free.log_det)
    assert sorted(split.rows.tolist()) == free.rows.tolist()


def test_blocks_hold_whole_plots_and_earlier_whole_plots_are_kept():
    _, terms, hard, easy = surface(3)
    first = exchange_split(terms, hard=hard, easy=easy, plots=(4,) * 4, seed=1, starts=20)
    fixed = terms[first.rows]
    found = exchange_split(
        terms,
        hard=hard,
        easy=easy,
        plots=(4, 4),
        fixed=fixed,
        fixed_plots=(4,) * 4,
        blocks=(8,),
        seed=1,
        starts=20,
    )
    session = np.r_[np.full(16, -1 / 3), np.full(8, 2 / 3)]
    whole = np.column_stack([np.vstack([fixed, terms[found.rows]]), session])
    assert found.log_det == pytest.approx(np.linalg.slogdet(information(whole, (4,) * 6, 1.0))[1])
    random = np.random.Generator(np.random.PCG64(1))
    for _ in range(200):
        rows = np.concatenate([random.choice(np.flatnonzero(hard == random.integers(3)), 4) for _ in range(2)])
        other = np.column_stack([np.vstack([fixed, terms[rows]]), session])
        assert np.linalg.slogdet(information(other, (4,) * 6, 1.0))[1] < found.log_det


def test_hard_settings_that_do_not_go_with_everything_take_what_is_most_alike():
    points, terms, hard, easy = surface(3)
    may = points.sum(axis=1) <= 1  # a constraint across hard and easy factors
    found = exchange_split(terms[may], hard=hard[may], easy=easy[may], plots=(3,) * 5, seed=1, starts=30)
    assert np.isfinite(found.log_det)
    for part in np.split(hard[may][found.rows], 5):
        assert len(set(part)) == 1


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"plots": ()}, "do not add up"),
        ({"plots": (4, 0, 8)}, "do not add up"),
        ({"plots": (6, 6), "fixed": np.ones((3, 10))}, "3 already baked"),
        ({"plots": (6, 6), "ratio": -1.0}, "-1.0 times"),
        ({"plots": (6, 6), "ratio": float("nan")}, "nan times"),
        ({"plots": (6, 6)}, "2 whole plots cannot tell the 3 terms"),
        ({"plots": (4, 4, 4), "blocks": (6, 6)}, "cannot hold whole plots"),
        ({"plots": (3, 3, 3)}, "10 terms need at least 10 runs"),
        ({"plots": (4, 4, 4), "hard": np.arange(5)}, "(5,) hard"),
        ({"plots": (4, 4, 4), "starts": 0}, "0 starts"),
    ],
)
def test_whole_plots_that_cannot_be_are_said(asked, words):
    _, terms, hard, easy = surface(3)
    with pytest.raises(PlanError) as said:
        exchange_split(terms, **{"hard": hard, "easy": easy, "seed": 1, **asked})
    assert words in said.value.what
    assert said.value.try_this
