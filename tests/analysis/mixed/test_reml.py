"""Do the answers stay the same where nothing changed, and say what is wrong where something is?"""

from dataclasses import replace

import numpy as np
import pytest

from analysis.errors import NotPossible, TrialDataError
from analysis.mixed.criterion import deviance
from analysis.mixed.kenward_roger import kenward_roger
from analysis.mixed.likelihood import SumJets
from analysis.mixed.preparing import prepare
from analysis.mixed.reml import fit_reml
from analysis.mixed.screening import layout_of, starting_theta
from analysis.mixed.terms import RandomTerm

STRUCTURES = ["many", "nested", "deep", "crossed", "nested and crossed", "slope", "slope crossed"]


@pytest.fixture(params=STRUCTURES)
def bakes(request, groups):
    """Readings with a true effect in each group: (y, x, terms, weights)."""
    rng = np.random.default_rng(len(request.param))
    terms, n = groups(request.param, rng)
    x = np.column_stack([np.ones(n), rng.normal(size=n), rng.integers(0, 2, n)])
    y = 40 + x @ [0, 1, 2] + rng.normal(size=n)
    for term in terms:
        y = y + 1.5 * rng.normal(size=term.groups)[term.codes]
        if term.slope is not None:
            y = y + rng.normal(size=term.groups)[term.codes] * term.slope
    return y, x, terms, rng.integers(1, 4, n).astype(float)


def told(fit):
    """Everything that is said of the coefficients and variances, as one row of numbers."""
    numbers = [*fit.coefficients, *fit.adjusted.ravel(), *(v.variance for v in fit.variances)]
    for method in ("kenward-roger", "satterthwaite"):
        for row in fit.contrasts(np.eye(fit.p), method=method):
            numbers += row
        numbers += fit.f_test(np.eye(fit.p)[1:], method=method)
    return np.array(numbers, dtype=float)


def test_neither_the_order_of_rows_nor_the_names_of_groups_matter(bakes):
    y, x, terms, weights = bakes
    rng = np.random.default_rng(1)
    order = rng.permutation(len(y))
    moved = []
    for term in terms:
        names = rng.permutation(term.groups)
        slope = None if term.slope is None else term.slope[order]
        moved.append(replace(term, codes=names[term.codes][order], slope=slope))
    want = told(fit_reml(y, x, terms, weights=weights))
    got = told(fit_reml(y[order], x[order], moved[::-1] if len(terms) == 1 else moved, weights=weights[order]))
    np.testing.assert_allclose(got, want, rtol=2e-6, atol=1e-9)


def test_units_of_the_readings_and_of_the_weights(bakes):
    y, x, terms, weights = bakes
    plain = fit_reml(y, x, terms, weights=weights)
    moved = fit_reml(1000 * y + 1e7, x, terms, weights=weights * 50)
    for a, b in zip(plain.variances[:-1], moved.variances[:-1], strict=True):
        assert b.variance == pytest.approx(1e6 * a.variance, rel=1e-5, abs=1e-6)
    assert moved.sigma2 == pytest.approx(50e6 * plain.sigma2, rel=1e-6)
    for method in ("kenward-roger", "satterthwaite"):
        f, ndf, ddf = plain.f_test(np.eye(3)[1:], method=method)
        assert moved.f_test(np.eye(3)[1:], method=method) == (
            pytest.approx(f, rel=1e-5),
            ndf,
            pytest.approx(ddf, rel=1e-5),
        )


def test_other_columns_for_the_same_space(bakes):
    """Turned and huge columns: contrasts, tests and variances stay; huge offsets of a slope change nothing either."""
    y, x, terms, _ = bakes
    turn = np.array([[1, 1e4, 0], [0, 1, 0], [0, 3, 1e-4]])
    plain, moved = fit_reml(y, x, terms), fit_reml(y, x @ turn, terms)
    row = np.array([1.0, 0.5, 1.0])
    for method in ("kenward-roger", "satterthwaite"):
        got, want = moved.contrast(row @ turn, method=method), plain.contrast(row, method=method)
        np.testing.assert_allclose(got, want, rtol=1e-5)


def test_the_best_is_a_minimum(bakes, dense):
    """No neighbouring variance has a smaller deviance, by n x n matrices; and the residual and deviance are theirs."""
    y, x, terms, weights = bakes
    fit = fit_reml(y, x, terms, weights=weights)

    def deviance(variances):
        oracle = dense(np.column_stack([x, y - y.mean()]), terms, weights)
        jet = oracle.at(np.array(variances[:-1]) / variances[-1])
        s, n, p = jet.cross[:3, :3], len(y), 3
        q = jet.cross[3, 3] - jet.cross[3, :3] @ np.linalg.solve(s, jet.cross[:3, 3])
        sigma2 = variances[-1]
        return (
            jet.log_det + n * np.log(sigma2) + np.linalg.slogdet(s)[1] - p * np.log(sigma2) + q / sigma2
            + (n - p) * np.log(2 * np.pi)
        )  # fmt: skip

    best, edge = [], []
    for v in fit.variances:
        if v.covariance is not None:
            best.append(v.covariance)
            edge.append(True)  # not moved alone: it may leave the covariance matrices
        best.append(v.variance)
        edge.append(v.boundary)
    assert deviance(best) == pytest.approx(fit.deviance, rel=1e-9)
    for place, on_edge in enumerate(edge):
        for factor in (0.999, 1.001):
            moved = list(best)
            moved[place] = moved[place] * factor if not on_edge else moved[place] + 1e-6
            if (on_edge and factor < 1) or (on_edge and best[place] != 0):
                continue
            assert deviance(moved) > fit.deviance - 1e-9


def test_kenward_roger_with_weights_equals_the_dense_one(dense):
    rng = np.random.default_rng(8)
    plot = np.repeat(np.arange(8), 4)[rng.random(32) > 0.15]
    n = len(plot)
    terms, weights = [RandomTerm("plot", plot)], rng.integers(1, 6, n).astype(float)
    x = np.column_stack([np.ones(n), plot % 2, rng.normal(size=n)])
    y = 80 + rng.normal(size=8)[plot] * 3 + rng.normal(size=n) / np.sqrt(weights) + 2 * x[:, 2]
    fit = fit_reml(y, x, terms, weights=weights)
    oracle = dense(np.column_stack([x, y]), terms, weights)
    gamma = np.array([fit.variances[0].variance / fit.sigma2])
    jet = oracle.at(gamma)
    kr = kenward_roger(jet, gamma, fit.sigma2, np.linalg.inv(jet.cross[:3, :3]))
    np.testing.assert_allclose(fit.adjusted, kr.adjusted, rtol=1e-6, atol=1e-12)


def test_doubled_data_narrow_what_lies_within_only():
    """Every reading twice: the estimates of the treatments stay."""
    rng = np.random.default_rng(5)
    day = np.repeat(np.arange(6), 3)
    x = np.column_stack([np.ones(18), np.tile([0, 1, 2], 6)])
    y = rng.normal(size=6)[day] + rng.normal(size=18) + x[:, 1]
    one = fit_reml(y, x, [RandomTerm("day", day)])
    two = fit_reml(np.tile(y, 2), np.tile(x, (2, 1)), [RandomTerm("day", np.tile(day, 2))])
    np.testing.assert_allclose(two.coefficients, one.coefficients, rtol=1e-9)
    assert two.contrast([0, 1])[1] < one.contrast([0, 1])[1]


def test_a_variance_of_zero_is_exact_and_named():
    """Groups whose means agree better than chance: the model without them is the one that answers."""
    rng = np.random.default_rng(11)
    day = np.repeat(np.arange(6), 5)
    y = rng.normal(size=30)
    y -= np.bincount(day, y)[day] / 5
    x = np.column_stack([np.ones(30), np.tile(np.arange(5), 6)])
    fit = fit_reml(y, x, [RandomTerm("day", day)])
    assert fit.boundary == ("day",)
    assert (fit.variances[0].variance, fit.variances[0].boundary) == (0.0, True)
    plain = fit_reml(y, x, [])
    assert plain.variances[-1].group == "residual"
    np.testing.assert_allclose(np.delete(told(fit), 6), told(plain), rtol=1e-9)
    assert fit.contrast([0, 1]) == pytest.approx(plain.contrast([0, 1]))
    # Without groups both methods are the plain t on n - p degrees of freedom.
    residuals = y - x @ np.linalg.lstsq(x, y, rcond=None)[0]
    assert plain.sigma2 == pytest.approx(residuals @ residuals / 28)
    for method in ("kenward-roger", "satterthwaite"):
        assert plain.contrast([0, 1], method=method)[2] == pytest.approx(28)
    np.testing.assert_array_equal(fit.blups["day"], np.zeros(6))


def test_a_slope_that_goes_wholly_with_its_level():
    day = np.repeat(np.arange(8), 6)
    a = np.tile(np.arange(6.0), 8)
    level = np.array([-3, -2, -1, -0.5, 0.5, 1, 2, 3.0])
    noise = np.tile([0.1, -0.1, 0.05, -0.05, 0.1, -0.1], 8)
    fit = fit_reml(
        20 + level[day] + 0.5 * level[day] * a + noise,
        np.column_stack([np.ones(48), a]),
        [RandomTerm("day", day, a, "water")],
    )
    own, slope, _ = fit.variances
    assert fit.boundary == ("day:water",)
    assert slope.covariance**2 == pytest.approx(own.variance * slope.variance, rel=1e-6)
    for method in ("kenward-roger", "satterthwaite"):
        assert all(np.isfinite(part) for row in fit.contrasts(np.eye(2), method=method) for part in row)


@pytest.mark.parametrize(
    ("codes", "reason"),
    [
        (np.zeros(12, int), "one group"),
        (np.arange(12), "one row in each group"),
        (np.arange(12) // 6, "taken up by the fixed part"),
        (np.arange(12) // 2 % 3 * 2, None),
    ],
)
def test_groups_that_cannot_be_told_apart_are_named(codes, reason):
    rng = np.random.default_rng(2)
    x = np.column_stack([np.ones(12), np.arange(12) // 6])
    y = rng.normal(size=12) + np.array([0, 2, 4, 1, 3, 9])[codes % 6]
    fit = fit_reml(y, x, [RandomTerm("load", codes)])
    assert fit.dropped == ({"load": reason} if reason else {})
    assert len(fit.variances) == (1 if reason else 2)


def test_the_same_groups_twice_are_one():
    day = np.repeat(np.arange(5), 4)
    y = np.random.default_rng(0).normal(size=20) + day
    fit = fit_reml(y, np.ones((20, 1)), [RandomTerm("day", day), RandomTerm("baker", 4 - day)])
    assert fit.dropped == {"baker": "same as other groups"}


def test_an_amount_that_never_varies_has_no_slope():
    day = np.repeat(np.arange(5), 4)
    y = np.random.default_rng(0).normal(size=20) + day
    fit = fit_reml(y, np.ones((20, 1)), [RandomTerm("day", day, np.full(20, 3.0), "water")])
    assert fit.dropped == {"day:water": "slope not seen"}
    assert [v.group for v in fit.variances] == ["day", "residual"]


DAY = RandomTerm("day", np.repeat(np.arange(4), 3))
READINGS = np.array([1.0, 2, 4, 3, 3, 5, 6, 2, 2, 8, 7, 9])


@pytest.mark.parametrize(
    ("y", "x", "terms", "weights", "method", "error", "says"),
    [
        (np.full(12, 5.0), np.ones((12, 1)), [DAY], None, "reml", NotPossible, "no scatter"),
        (DAY.codes * 1.0, np.ones((12, 1)), [DAY], None, "reml", NotPossible, "between groups"),
        (READINGS, np.ones((12, 2)), [DAY], None, "reml", NotPossible, "follows from the others"),
        (READINGS, np.eye(12), [DAY], None, "reml", NotPossible, "12 rows cannot tell 12"),
        (READINGS * np.nan, np.ones((12, 1)), [DAY], None, "reml", TrialDataError, "missing"),
        (READINGS * 1e200, np.ones((12, 1)), [DAY], None, "reml", TrialDataError, "too large"),
        (READINGS, np.ones((12, 1)), [DAY], np.zeros(12), "reml", TrialDataError, "weight"),
        (READINGS, np.ones((12, 1)), [RandomTerm("day", DAY.codes[:5])], None, "reml", TrialDataError, "one length"),
        (READINGS, np.ones((12, 1)), [RandomTerm("day", DAY.codes - 1)], None, "reml", TrialDataError, "no group"),
        (READINGS, np.ones((12, 1)), [DAY], None, "guess", NotPossible, "no method"),
    ],
)
def test_what_cannot_be_fitted_is_said(y, x, terms, weights, method, error, says):
    with pytest.raises(error, match=says) as raised:
        fit_reml(y, x, terms, weights=weights, method=method)
    assert raised.value.try_this
    assert raised.value.where


def test_rows_that_ask_nothing_or_twice_the_same():
    fit = fit_reml(READINGS, np.column_stack([np.ones(12), np.tile([0, 1, 2], 4)]), [DAY])
    assert fit.contrast([0, 0]) == (0.0, None, None)
    assert fit.f_test(np.zeros((1, 2))) == (None, 0, None)
    once, twice = fit.f_test([[0, 1]]), fit.f_test([[0, 1], [0, 2]])
    assert twice == (pytest.approx(once[0]), 1, pytest.approx(once[2]))
    with pytest.raises(NotPossible, match="small-sample"):
        fit.contrast([0, 1], method="guess")


def test_fitted_values_with_and_without_the_groups(bakes):
    y, x, terms, weights = bakes
    fit = fit_reml(y, x, terms, weights=weights)
    np.testing.assert_allclose(fit.fitted, x @ fit.coefficients)
    moved = fit.fitted.copy()
    for term in fit.terms:
        moved += fit.blups[term.name][term.codes]
        if term.slope is not None:
            moved += fit.blups[term.effect_names[1]][term.codes] * term.slope
    np.testing.assert_allclose(fit.conditional, moved)
    assert np.sum(weights * (y - fit.conditional) ** 2) < np.sum(weights * (y - fit.fitted) ** 2)


@pytest.mark.parametrize("whole", [False, True], ids=["one group", "plots in replicates"])
def test_balanced_data_are_solved_in_closed_form(whole):
    """Where all mean squares are in order the quadratic forms at 0 are the answer: the search begins at its end."""
    rng = np.random.default_rng(6)
    replicate, plot = np.repeat(np.arange(6), 12), np.repeat(np.arange(24), 3)
    y = 3 * rng.normal(size=6)[replicate] + 2 * rng.normal(size=24)[plot] + rng.normal(size=72)
    dose, oven = np.tile(np.eye(3), (24, 1))[:, 1:], np.tile(np.repeat(np.eye(4), 3, axis=0), (6, 1))[:, 1:]
    terms = [RandomTerm("replicate", replicate), *([RandomTerm("plot", plot)] if whole else [])]
    fit = fit_reml(y, np.column_stack([np.ones(72), oven, dose]), terms)
    within = dose if whole else np.column_stack([oven, dose])
    nested = plot if whole else replicate
    blocks = np.eye(nested.max() + 1)[nested]
    both = np.column_stack([blocks, within])
    left = y - both @ np.linalg.lstsq(both, y, rcond=None)[0]
    error_df = 72 - np.linalg.matrix_rank(both)
    assert fit.sigma2 == pytest.approx(left @ left / error_df, rel=1e-10)
    ready = prepare(y, np.column_stack([np.ones(72), oven, dose]), terms, None)
    jets = SumJets(ready, ready.terms)
    layout = layout_of(ready.terms)
    zero = deviance(jets.at(np.zeros(layout.size)))
    start = starting_theta(layout, zero, np.arange(layout.size))
    np.testing.assert_allclose(layout.gamma(start), fit.solved.gamma, rtol=1e-9)
