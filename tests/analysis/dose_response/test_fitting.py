"""The fitter away from its published cases: derivatives, bounds, refusals."""

import numpy as np
import pytest

from analysis.dose_response.fitting import fit_curve, inverse_information, minimise
from analysis.errors import NotPossible

X = np.linspace(0, 4, 12)
Y = 3 * np.exp(-0.7 * X) + 0.05 * np.cos(9 * X)


def decay(x, b):
    return b[0] * np.exp(-b[1] * x)


def test_every_kind_of_derivative_leads_to_the_same_fit():
    exact = fit_curve(
        decay,
        X,
        Y,
        [[1, 1]],
        jacobian=lambda x, b: np.stack([np.exp(-b[1] * x), -x * decay(x, b)], axis=1),
    )
    complex_step = fit_curve(decay, X, Y, [[1, 1]])
    # abs() throws the imaginary part away, so the complex step would be wrong here.
    differences = fit_curve(lambda x, b: abs(b[0]) * np.exp(-abs(b[1]) * x), X, Y, [[1, 1]])
    assert [f.derivatives for f in (exact, complex_step, differences)] == [
        "given",
        "complex step",
        "central differences",
    ]
    assert complex_step.parameters == pytest.approx(exact.parameters, rel=1e-11)
    assert np.abs(differences.parameters) == pytest.approx(exact.parameters, rel=1e-7)


def test_the_gradient_vanishes_at_the_end():
    fit = fit_curve(decay, X, Y, [[1, 1]])
    b = np.array(fit.parameters)
    slopes = np.stack([np.exp(-b[1] * X), -X * decay(X, b)], axis=1)
    left = Y - decay(X, b)
    cosines = slopes.T @ left / np.linalg.norm(slopes, axis=0) / np.linalg.norm(left)
    assert np.abs(cosines).max() < 1e-10


def test_the_best_of_several_starts_is_kept():
    def wave(x, b):
        return np.sin(b[0] * x)

    fit = fit_curve(wave, X, np.sin(3 * X), [[9.0], [5.0], [3.2]])
    assert fit.parameters == pytest.approx([3.0])
    assert fit.start == 2
    assert fit.agreeing == 1


def test_bounds_hold_and_the_rest_is_optimal():
    fit = fit_curve(decay, X, Y, [[1, 0.2]], upper=[np.inf, 0.5])
    assert fit.parameters[1] == 0.5
    column = np.exp(-0.5 * X)
    assert fit.parameters[0] == pytest.approx(column @ Y / (column @ column), rel=1e-12)


def test_too_few_values_are_refused():
    with pytest.raises(NotPossible, match="cannot fix"):
        fit_curve(decay, [1.0], [1.0], [[1, 1]])


def test_starts_without_finite_numbers_are_refused():
    with pytest.raises(NotPossible, match="finite"):
        fit_curve(lambda x, b: np.log(-x - 1 + 0 * b[0]), X, Y, [[1.0]])


def test_parameters_that_cannot_be_told_apart_have_no_covariance():
    assert inverse_information(np.array([[1.0, 2.0], [2.0, 4.0], [3.0, 6.0]])) is None


def test_minimise_says_when_the_start_is_hopeless():
    assert minimise(lambda p: np.array([np.nan]), lambda p: np.array([[1.0]]), np.array([1.0])) is None
