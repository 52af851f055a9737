"""How fast are optimal designs found? Ratios within one run.

    pytest -s tests/benchmarks/test_optimal_speed.py

Six amounts at three levels, full quadratic: 28 terms, 729 candidates, D = 100 |X'X|^(1/28) / n with
levels coded -1, 0, 1. The part against pydoe takes a quarter of a minute, nearly all of it pydoe's;
with CRUMBWISE_LARGE=1 its slower method is run too, which takes two minutes.
"""

import os
import time
from importlib.util import find_spec
from itertools import combinations, product

import numpy as np
import pytest

from analysis.designs.optimal import exchange, exchange_coordinates

GRID = np.array(list(product([-1.0, 0.0, 1.0], repeat=6)))
STARTS = 400  # documented: with this many the figures below are reached for every seed tried
WANTED = {32: 48.0, 40: 51.0}
PYDOE_BEST = 47.83  # pydoe 1.6 at 32 runs, alpha = 1e-3, methods detmax and fedorov, as once measured


def quadratic(points):
    pairs = [points[:, a] * points[:, b] for a, b in combinations(range(6), 2)]
    return np.column_stack([np.ones(len(points)), points, points**2, *pairs])


def d_of(points):
    terms = quadratic(points)
    return 100 * np.exp(np.linalg.slogdet(terms.T @ terms)[1] / 28) / len(terms)


def timed(work):
    start = time.perf_counter()
    return work(), time.perf_counter() - start


@pytest.mark.parametrize("runs", WANTED)
def test_the_wanted_determinant_is_reached_from_every_seed(runs):
    terms, found = quadratic(GRID), []
    for seed in range(1, 11):
        design, seconds = timed(lambda seed=seed: exchange(terms, runs, starts=STARTS, seed=seed))
        assert d_of(GRID[design.rows]) == pytest.approx(design.d_efficiency)
        found.append((design.d_efficiency, seconds))
    worst, best = min(d for d, _ in found), max(d for d, _ in found)
    took = np.median([seconds for _, seconds in found])
    print(f"\n{runs} runs, {STARTS} starts, 10 seeds: D {worst:.2f} to {best:.2f} %, {took:.2f} s each")
    assert worst >= WANTED[runs]


def first_to_reach(terms, wanted):
    """Seconds until a design at least as good is found: more starts until it is, all of them counted."""
    begun = time.perf_counter()
    for starts in (25, 50, 100, 200, 400, 800):
        if exchange(terms, 32, starts=starts, seed=1).d_efficiency >= wanted:
            return time.perf_counter() - begun, starts
    raise AssertionError(f"no design with D = {wanted} was found")


def test_single_settings_exchanged_against_listed_treatments():
    terms = quadratic(GRID)
    listed, fast = timed(lambda: exchange(terms, 32, starts=100, seed=1))
    walked, slow = timed(lambda: exchange_coordinates([3] * 6, lambda at: quadratic(at - 1.0), 32, starts=100, seed=1))
    print(
        f"\n100 starts: listed treatments {fast:.2f} s, D {listed.d_efficiency:.2f};"
        f" single settings {slow:.2f} s, D {walked.d_efficiency:.2f}"
    )
    assert walked.d_efficiency > 46.8  # a single start of a coordinate exchange, as once measured


if find_spec("pydoe"):  # not collected without it, so that nothing counts as skipped

    def test_against_pydoe():
        from pydoe import optimal_design

        terms, theirs = quadratic(GRID), {}
        for method in ("detmax", "fedorov") if os.environ.get("CRUMBWISE_LARGE") else ("detmax",):
            # Its Fedorov exchange goes on swapping equal runs, led by rounding: after 25 rounds it gained nothing more.
            (points, _), seconds = timed(
                lambda method=method: optimal_design(GRID, 32, 2, method=method, alpha=1e-3, max_iter=25)
            )
            theirs[method] = (d_of(np.asarray(points)), seconds)
        wanted = max(PYDOE_BEST, *(d for d, _ in theirs.values()))
        quickest = min(seconds for _, seconds in theirs.values())
        ours, starts = first_to_reach(terms, wanted)
        said = ", ".join(f"{method} D {d:.2f} in {seconds:.1f} s" for method, (d, seconds) in theirs.items())
        print(f"\npydoe: {said}\nours: D {wanted:.2f} in {ours:.2f} s ({starts} starts), {quickest / ours:.0f} times")
        assert ours < quickest / 30
