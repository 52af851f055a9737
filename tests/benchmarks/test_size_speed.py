"""How fast are simulated trials? The ratio within one run, printed and held.

pytest -s tests/benchmarks/test_size_speed.py
"""

import time

import numpy as np
import statsmodels.api as sm

from analysis.sizes.simulating import by_estimates, by_noise

TRIALS, FITTED = 10_000, 400


def trial():
    signs = np.array([[1 if run >> at & 1 else -1 for at in range(3)] for run in range(8)] * 3, dtype=float)
    pairs = np.column_stack([signs[:, 0] * signs[:, 1], signs[:, 0] * signs[:, 2], signs[:, 1] * signs[:, 2]])
    return np.column_stack([np.ones(24), signs, pairs])


def seconds(work, times=7):
    best = []
    for _ in range(times):
        begun = time.perf_counter()
        work()
        best.append(time.perf_counter() - begun)
    return min(best)


def test_ten_thousand_trials_are_drawn_400_times_faster_than_fitted_one_by_one():
    x, truth = trial(), [50, 0.5, 0.3, 0, 0.2, 0, 0]
    rng = np.random.Generator(np.random.PCG64(1))
    readings = (x @ np.array(truth))[:, None] + rng.standard_normal((24, FITTED))

    def one_by_one():
        return [sm.OLS(readings[:, at], x).fit().pvalues for at in range(FITTED)]

    loop = seconds(one_by_one, times=3) * TRIALS / FITTED
    ours = seconds(lambda: by_estimates(x, truth, 1.0, trials=TRIALS, seed=2))
    whole = seconds(lambda: by_noise(x, truth, 1.0, trials=TRIALS, seed=2))
    print(f"\nstatsmodels one by one {loop * 1e3:.0f} ms, by estimates {ours * 1e3:.2f} ms: {loop / ours:.0f} times")
    print(f"with every reading drawn {whole * 1e3:.2f} ms: {loop / whole:.0f} times")
    assert loop / ours >= 400
