"""What does a fitted mixed model answer with?"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import numpy as np

from analysis.errors import NotPossible
from analysis.mixed.criterion import Deviance
from analysis.mixed.kenward_roger import KenwardRoger, kenward_roger, moments
from analysis.mixed.parameters import Layout
from analysis.mixed.satterthwaite import Satterthwaite, degrees, many, satterthwaite
from analysis.mixed.terms import FloatArray, RandomTerm
from analysis.parts import Variance

SmallSample = Literal["kenward-roger", "satterthwaite"]


@dataclass(frozen=True, eq=False)
class Solved:
    """The fit in its own units: y in units of ``y_scale``, X as X R^-1 (``back`` = R^-1), the weights' mean 1.

    ``at`` covers the terms off the edge only, ``layout`` and ``theta`` likewise.
    """

    at: Deviance
    layout: Layout
    theta: FloatArray
    back: FloatArray
    y_scale: float

    @property
    def gamma(self) -> FloatArray:
        return self.layout.gamma(self.theta)


@dataclass(frozen=True, eq=False)
class MixedFit:
    """``variances`` residual last; ``boundary`` names variances of 0 and slopes whose correlation is ±1;
    ``dropped`` maps terms that cannot be told apart to the reason; ``starts`` says how many starts of two agreed.

    ``deviance`` is -2 log likelihood (restricted for "reml"). ``blups`` holds the effect of each group by term
    (and by "term:slope").
    """

    coefficients: FloatArray
    covariance: FloatArray
    sigma2: float
    variances: tuple[Variance, ...]
    deviance: float
    boundary: tuple[str, ...]
    converged: bool
    starts: int
    n: int
    p: int
    method: str
    terms: tuple[RandomTerm, ...]
    solved: Solved = field(repr=False)
    readings: FloatArray = field(repr=False)
    design: FloatArray = field(repr=False)
    weights: FloatArray | None = field(repr=False)
    predict: Callable[[], Mapping[str, FloatArray]] = field(repr=False)
    dropped: Mapping[str, str] = field(default_factory=dict)

    @cached_property
    def fitted(self) -> FloatArray:
        """(n,) fitted values of the fixed part alone."""
        return self.design @ self.coefficients

    @cached_property
    def blups(self) -> Mapping[str, FloatArray]:
        """Predicted effect of each group, by term (and by "term:slope"); 0 for a term on the edge."""
        return self.predict()

    @cached_property
    def kenward_roger(self) -> KenwardRoger:
        at = self.solved.at
        return kenward_roger(at.jet, self.solved.gamma, at.sigma2, at.inverse)

    @cached_property
    def satterthwaite(self) -> Satterthwaite:
        return satterthwaite(self.solved.at, self.solved.layout, self.solved.theta)

    @cached_property
    def adjusted(self) -> FloatArray:
        """(p, p) covariance of the coefficients after Kenward and Roger."""
        back = self.solved.back * self.solved.y_scale
        return np.asarray(back @ self.kenward_roger.adjusted @ back.T, dtype=np.float64)

    @cached_property
    def conditional(self) -> FloatArray:
        """(n,) fitted values with the groups' effects."""
        out = self.fitted.copy()
        for term in self.terms:
            names = term.effect_names
            if names[0] in self.blups:
                out = out + self.blups[names[0]][term.codes]
            if term.slope is not None and names[1] in self.blups:
                out = out + self.blups[names[1]][term.codes] * term.slope
        return out

    def contrast(self, row: FloatArray, *, method: str = "kenward-roger") -> tuple[float, float | None, float | None]:
        """(estimate, standard error, df) of ``row`` (p,) times the coefficients."""
        (only,) = self.contrasts(np.atleast_2d(row), method=method)
        return only

    def contrasts(
        self, rows: FloatArray, *, method: str = "kenward-roger"
    ) -> list[tuple[float, float | None, float | None]]:
        """One (estimate, standard error, df) for each of ``rows`` (m, p)."""
        turned = np.asarray(rows, dtype=np.float64) @ self.solved.back
        estimates = np.asarray(rows, dtype=np.float64) @ self.coefficients
        return [self._one(float(e), row, method) for e, row in zip(estimates, turned, strict=True)]

    def _one(self, estimate: float, row: FloatArray, method: str) -> tuple[float, float | None, float | None]:
        if not np.any(row):
            return estimate, None, None
        if _checked(method) == "satterthwaite":
            variance, df = float(row @ self.satterthwaite.phi @ row), degrees(self.satterthwaite, row)
        else:
            variance = float(row @ self.kenward_roger.adjusted @ row)
            df = moments(self.kenward_roger, row[None, :])[1]
        if not np.isfinite(variance) or variance <= 0:
            return estimate, None, None
        return estimate, float(np.sqrt(variance)) * self.solved.y_scale, df

    def f_test(self, rows: FloatArray, *, method: str = "kenward-roger") -> tuple[float | None, int, float | None]:
        """(F, numerator df, denominator df) that ``rows`` (q, p) times the coefficients are all 0."""
        rows = independent(np.asarray(rows, dtype=np.float64) @ self.solved.back)
        q = len(rows)
        if not q:
            return None, 0, None
        estimates = rows @ (self._turned_coefficients / self.solved.y_scale)
        if _checked(method) == "satterthwaite":
            f, df = many(self.satterthwaite, rows, estimates)
        else:
            scale, df = moments(self.kenward_roger, rows)
            f = scale * float(estimates @ np.linalg.solve(rows @ self.kenward_roger.adjusted @ rows.T, estimates)) / q
        return (f if np.isfinite(f) and f >= 0 else None), q, df

    @cached_property
    def _turned_coefficients(self) -> FloatArray:
        return np.asarray(np.linalg.solve(self.solved.back, self.coefficients), dtype=np.float64)

    @property
    def intraclass(self) -> float | None:
        """Share of the scatter that lies between the groups of the only term; None with more of them or slopes."""
        if len(self.variances) != 2:
            return None
        between, within = self.variances
        return between.variance / (between.variance + within.variance)


def independent(rows: FloatArray) -> FloatArray:
    """Rows as they are when none follows from the others, else as many orthogonal ones as they are worth."""
    if not rows.size:
        return rows
    size = np.linalg.norm(rows, axis=1)
    unit = rows[size > 0] / size[size > 0][:, None]
    if not len(unit):
        return rows[:0]
    values, right = np.linalg.svd(unit, full_matrices=False)[1:]
    rank = int((values > 1e-9 * values[0]).sum())
    return rows if rank == len(rows) else np.asarray(right[:rank], dtype=np.float64)


def _checked(method: str) -> str:
    if method not in ("kenward-roger", "satterthwaite"):
        raise NotPossible(
            f"There is no small-sample method {method!r}.",
            where="mixed model",
            try_this="Ask for kenward-roger or satterthwaite.",
        )
    return method
