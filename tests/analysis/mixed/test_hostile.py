"""A thousand models that nobody should ask for: an answer without NaN, or a refusal in words.

Of each: one group, groups of one row, groups within the fixed part, slopes that never vary, columns twice, weights
over eight powers of ten, readings all equal, rounded, of 1e12, 1e-12 or 1e150, all scatter between groups.
"""

import numpy as np

from analysis.errors import AnalysisError
from analysis.mixed.reml import fit_reml
from analysis.mixed.terms import RandomTerm

MODELS = 1000


def fixed_part(rng, n):
    columns = [np.ones(n)]
    for _ in range(rng.integers(0, 4)):
        plain = rng.normal(size=n) * 10.0 ** rng.integers(-6, 7)
        columns.append(rng.choice([0.0, 1.0], n) if rng.random() < 0.5 else plain)
    x = np.column_stack(columns)
    if rng.random() < 0.1 and x.shape[1] > 1:
        x[:, -1] = 3 * x[:, 0]
    return x


def term(rng, n, x, name):
    makes = [
        lambda: np.zeros(n, dtype=int),
        lambda: np.arange(n),
        lambda: rng.integers(0, 3, n),
        lambda: np.arange(n) // 3,
        lambda: rng.integers(0, max(2, n // 2), n),
        lambda: np.unique(x[:, -1], return_inverse=True)[1],
    ]
    codes = np.unique(makes[rng.integers(0, 6)](), return_inverse=True)[1]
    slope = None
    if rng.random() < 0.25:
        wide = rng.normal(size=n) * 10.0 ** rng.integers(-5, 6) + rng.choice([0, 1e6])
        slope = [rng.choice([0.0, 1.0, 2.0], n), wide, np.full(n, 3.0)][rng.integers(0, 3)]
    return RandomTerm(name, codes, slope, "a")


def readings(rng, x, terms):
    n = len(x)
    y = rng.normal(size=n)
    for each in terms:
        y = y + rng.normal(size=each.groups)[each.codes] * rng.choice([0, 1, 10, 1000])
    only = terms[0].codes.astype(float) if terms else y
    choices = [y, y, np.full(n, 5.0), y + 1e12, np.round(y), only, y * 1e-12, y * 1e150, y + 1e6 * x[:, -1]]
    return choices[rng.integers(0, len(choices))]


def model(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 40))
    x = fixed_part(rng, n)
    terms = [term(rng, n, x, f"group {k}") for k in range(rng.integers(0, 4))]
    weights = [None, None, 10.0 ** rng.uniform(-4, 4, n), rng.integers(1, 5, n).astype(float)][rng.integers(0, 4)]
    return readings(rng, x, terms), x, terms, weights, "ml" if rng.random() < 0.2 else "reml"


def numbers(fit):
    """Every number an answer holds; None where one cannot be had."""
    found = [*fit.coefficients, *fit.covariance.ravel(), *fit.adjusted.ravel(), fit.sigma2, fit.deviance]
    found += [*fit.fitted, *fit.conditional, *(effect for each in fit.blups.values() for effect in each)]
    for v in fit.variances:
        found += [v.variance, v.sd, v.low, v.high, v.covariance]
    for method in ("kenward-roger", "satterthwaite"):
        found += [part for row in fit.contrasts(np.eye(fit.p), method=method) for part in row]
        found += fit.f_test(np.eye(fit.p), method=method)
    return [number for number in found if number is not None]


def fitted_or_refused(y, x, terms, weights, method):
    try:
        return fit_reml(y, x, terms, weights=weights, method=method)
    except AnalysisError as refusal:
        return refusal


def test_never_a_nan():
    answered = refused = 0
    for seed in range(MODELS):
        y, x, terms, weights, method = model(seed)
        fit = fitted_or_refused(y, x, terms, weights, method)
        if isinstance(fit, AnalysisError):
            assert fit.what, seed
            assert fit.try_this, seed
            refused += 1
            continue
        answered += 1
        assert np.isfinite(numbers(fit)).all(), seed
        assert all(v.variance >= 0 and (v.low is None or v.low <= v.variance) for v in fit.variances), seed
        asked = {each.name for each in terms}
        told = {v.group.split(":")[0] for v in fit.variances[:-1]} | {name.split(":")[0] for name in fit.dropped}
        assert told == asked, seed  # none is dropped without a word
    assert answered > MODELS / 3
    assert refused > MODELS / 10
