"""What is the second-order model, whoever fitted it?

A predictor whose means are a polynomial of second order in some amounts is asked at just as many
settings as the polynomial has terms; the rest is linear algebra. Coded settings are -1 and +1 at the
corners that were baked, so that star points lie beyond them, as in the books.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.linear.distributions import t_quantile
from analysis.linear.predictor import LinearPredictor
from analysis.linear.stratum import Model
from analysis.predicting import Predictor

Floats = NDArray[np.float64]

MOST_LEVELS = 25  # an amount with more settings has no corners to look for
DRAWS = 4000  # stand in for the covariance where a predictor has none to give
SAME = 1e-7  # how far a mean may miss the polynomial, of the spread of means


@dataclass(frozen=True, eq=False)
class Coding:
    """``middle`` and ``half`` (k,) of the amounts ``names``."""

    names: tuple[str, ...]
    middle: Floats
    half: Floats

    def coded(self, real: Floats) -> Floats:
        return (real - self.middle) / self.half

    def real(self, coded: Floats) -> Floats:
        return self.middle + coded * self.half

    def named(self, coded: Floats) -> dict[str, float]:
        return dict(zip(self.names, map(float, self.real(coded)), strict=True))


def corner_coding(bakes: pd.DataFrame, names: Sequence[str]) -> Coding:
    """-1 and +1 at the widest settings of which all four combinations with another amount were baked.

    Settings that lie evenly about 0 and reach 1 are taken as coded already; without corners the ends count.
    """
    columns = {name: bakes[name].to_numpy(dtype=np.float64) for name in names}
    if _coded_already(list(columns.values())):
        return Coding(tuple(names), np.zeros(len(names)), np.ones(len(names)))
    ends = {name: (float(column.min()), float(column.max())) for name, column in columns.items()}
    found: dict[str, list[tuple[float, float]]] = {name: [] for name in names}
    for one, other in combinations(names, 2):
        corners = _corners(columns[one], columns[other])
        if corners is not None:
            found[one].append(corners[0])
            found[other].append(corners[1])
    lows, highs = np.array(
        [max(found[name], key=lambda pair: pair[1] - pair[0], default=ends[name]) for name in names]
    ).T
    return Coding(tuple(names), (lows + highs) / 2, (highs - lows) / 2)


def _coded_already(columns: Sequence[Floats]) -> bool:
    reach = [float(np.abs(column).max()) for column in columns]
    even = all(abs(column.min() + column.max()) <= 1e-6 * most for column, most in zip(columns, reach, strict=True))
    ones = any(np.isclose(column, 1.0, atol=1e-9).any() for column in columns)
    return even and ones and all(0.5 <= most <= 3 for most in reach)


def _corners(one: Floats, other: Floats) -> tuple[tuple[float, float], tuple[float, float]] | None:
    a, at_a = np.unique(one, return_inverse=True)
    b, at_b = np.unique(other, return_inverse=True)
    if max(len(a), len(b)) > MOST_LEVELS:
        return None
    baked = np.zeros((len(a), len(b)), dtype=bool)
    baked[at_a, at_b] = True
    best, widest = None, 0.0
    for low, high in combinations(range(len(a)), 2):
        both = np.flatnonzero(baked[low] & baked[high])
        if len(both) > 1:
            size = (a[high] - a[low]) / np.ptp(a) * (b[both[-1]] - b[both[0]]) / np.ptp(b)
            if size > widest * (1 + 1e-9):
                best, widest = ((float(a[low]), float(a[high])), (float(b[both[0]]), float(b[both[-1]]))), size
    return best


def model_rows(coded: Floats) -> Floats:
    """1, amounts, squares, products of pairs: (m, k) -> (m, p)."""
    coded = np.atleast_2d(coded)
    pairs = [coded[:, i] * coded[:, j] for i, j in combinations(range(coded.shape[1]), 2)]
    return np.column_stack([np.ones(len(coded)), coded, coded**2, *pairs])


def deciding_points(k: int) -> Floats:
    """As many coded settings as a second-order polynomial in ``k`` amounts has terms, which decide it."""
    eye = np.eye(k)
    pairs = [eye[i] + eye[j] for i, j in combinations(range(k), 2)]
    return np.vstack([np.zeros((1, k)), eye, -eye, *(pair[None, :] for pair in pairs)])


@dataclass(frozen=True, eq=False)
class Quadratic:
    """``beta`` (p,) belongs to ``model_rows`` of coded settings; ``covariance`` (p, p) and ``df`` None unjudged.

    ``sd`` is the scatter between bakes of one treatment. ``judge`` gives (standard error, df) of a row over beta
    where a model has more than one error (whole plots); else the covariance and ``df`` say it.
    """

    coding: Coding
    beta: Floats
    covariance: Floats | None
    df: float | None
    sd: float | None
    judge: Callable[[Floats], tuple[float | None, float | None]] | None = None

    @property
    def k(self) -> int:
        return len(self.coding.names)

    @property
    def linear(self) -> Floats:
        return self.beta[1 : 1 + self.k]

    @cached_property
    def bends(self) -> Floats:
        """B (k, k) with response = b0 + b'z + z'Bz."""
        matrix = np.diag(self.beta[1 + self.k : 1 + 2 * self.k])
        for (i, j), value in zip(combinations(range(self.k), 2), self.beta[1 + 2 * self.k :], strict=True):
            matrix[i, j] = matrix[j, i] = value / 2
        return matrix

    def mean(self, coded: Floats) -> Floats:
        return np.asarray(model_rows(coded) @ self.beta)

    def gradient(self, coded: Floats) -> Floats:
        return np.asarray(self.linear + 2 * np.atleast_2d(coded) @ self.bends)

    def gradient_rows(self, coded: Floats) -> Floats:
        """(m, k, p): the gradient at each of the points (m, k) is these rows @ beta."""
        points = np.atleast_2d(coded)
        rows = np.zeros((len(points), self.k, len(self.beta)))
        rows[:, :, 1 : 1 + self.k] = np.eye(self.k)
        for i in range(self.k):
            rows[:, i, 1 + self.k + i] = 2 * points[:, i]
        for at, (i, j) in enumerate(combinations(range(self.k), 2), start=1 + 2 * self.k):
            rows[:, i, at], rows[:, j, at] = points[:, j], points[:, i]
        return rows

    def se(self, rows: Floats) -> Floats | None:
        """Standard errors of rows (m, p) @ beta."""
        if self.covariance is None:
            return None
        rows = np.atleast_2d(rows)
        return np.asarray(np.sqrt(np.maximum(((rows @ self.covariance) * rows).sum(axis=1), 0.0)))

    def interval(
        self, row: Floats, confidence: float, *, more: float = 0.0
    ) -> tuple[float, float | None, float | None]:
        """(estimate, low, high) of row @ beta; ``more`` is a variance added, as that of a further bake."""
        estimate, (se, df) = float(row @ self.beta), self._judged(row)
        if se is None or df is None:
            return estimate, None, None
        margin = t_quantile(confidence, df) * float(np.sqrt(se**2 + more))
        return estimate, estimate - margin, estimate + margin

    def _judged(self, row: Floats) -> tuple[float | None, float | None]:
        if self.judge is not None:
            return self.judge(row)
        se = self.se(row)
        return (None, None) if se is None else (float(se[0]), self.df)


def quadratic_of(predictor: Predictor, coding: Coding, held: Mapping[str, Any]) -> Quadratic | None:
    """The polynomial in the amounts of ``coding`` with everything else ``held``; None when it is none."""
    points = deciding_points(len(coding.names))
    settings = settings_of(coding, points, held)
    inverse = np.asarray(np.linalg.inv(model_rows(points)), dtype=np.float64)
    means = predictor.mean(settings)
    base = float(means[0])
    beta = inverse @ (means - base)  # less a constant, which keeps the digits
    spread = float(np.ptp(means))
    further = 0.5 * (points[1:] + points[:-1]) + 0.1
    missed = predictor.mean(settings_of(coding, further, held)) - base - model_rows(further) @ beta
    if np.abs(missed).max() > SAME * max(spread, 1e-12 * abs(base)):
        return None
    beta[0] += base
    joint = _covariance(predictor, settings)
    covariance = None if joint is None else inverse @ joint @ inverse.T
    df = predictor.df if covariance is not None else None
    return Quadratic(coding, beta, covariance, df, predictor.sd, _judge(predictor, settings, inverse))


def _judge(
    predictor: Predictor, settings: pd.DataFrame, inverse: Floats
) -> Callable[[Floats], tuple[float | None, float | None]] | None:
    """Each row over beta is a sum of means at the deciding settings, which the model can judge by itself."""
    if not isinstance(predictor, LinearPredictor):
        return None
    if type(predictor.model) is Model and len(predictor.model.strata) == 1:
        return None  # one error, one df
    rows = inverse @ predictor.rows(settings)

    def judge(row: Floats) -> tuple[float | None, float | None]:
        (contrast,) = predictor.contrasts((row @ rows)[None, :])
        return contrast.se, contrast.df

    return judge


def settings_of(coding: Coding, coded: Floats, held: Mapping[str, Any]) -> pd.DataFrame:
    frame = pd.DataFrame(coding.real(np.atleast_2d(coded)), columns=list(coding.names))
    return frame.assign(**{name: [value] * len(frame) for name, value in held.items()})


def _covariance(predictor: Predictor, settings: pd.DataFrame) -> Floats | None:
    ask = getattr(predictor, "covariance", None)
    if ask is not None:
        joint: Floats | None = ask(settings)
        return joint
    draws = predictor.draws(settings, count=DRAWS, seed=1)
    if draws is None or predictor.df is None or predictor.df <= 2:
        return None
    # Draws from the t are wider than the covariance by df / (df - 2).
    return np.asarray(np.cov(draws.T) * (predictor.df - 2) / predictor.df)
