"""What can be said when treatments scatter unequally?

Where every treatment was baked several times and nothing else is in the model, each treatment keeps its own
variance: differences by Welch and Satterthwaite (for pairs of levels that is Games and Howell), terms by
Johansen 1980 (Biometrika 67:85), which for one factor is Welch's F (1951, Biometrika 38:330). Else
the covariance is HC2 (MacKinnon & White 1985, J. Econometrics 29:305), with the degrees of freedom of Bell &
McCaffrey (2002, Survey Methodology 28:169), and terms by Hotelling's approximation (Pustejovsky & Tipton
2018, J. Bus. Econ. Stat. 36:672). HC3 was turned down: with those degrees of freedom it covers too often.
A bake that fits itself alone (the one bake of a level) shows no scatter: it is taken to scatter as all together do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.estimates import Test
from analysis.linear.coding import Term, Variable
from analysis.linear.distributions import f_tail
from analysis.linear.squares import SquaresType
from analysis.linear.squares import tests as plain_tests
from analysis.linear.stratum import Contrast, Model
from analysis.linear.treatments import treatment_codes

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

WELCH, SANDWICH = "Welch", "HC2"
SURE = 1 - 1e-8  # leverage above which a bake fits itself alone, and says nothing about its scatter
TINY = 1e-14
MOST_BAKES = 2000  # with more, the error df of least squares serve


@dataclass(frozen=True, eq=False)
class UnequalModel(Model):
    """One stratum whose bakes need not scatter alike. ``half`` (p, n): coefficients are ``half`` @ readings.

    ``spread`` (n,) estimates each bake's variance; ``cells`` (n,) number treatments that share a variance
    (None: HC2), ``room`` (n,) is one less the leverage, ``left`` (n, n) is I - H (None with too many bakes).
    ``alone`` (n,): bakes that fit themselves, whose ``spread`` is that of all together and whose ``room`` is 1.
    """

    half: Floats
    spread: Floats
    room: Floats
    left: Floats | None
    alone: NDArray[np.bool_]
    cells: Integers | None = None

    @property
    def expected(self) -> Floats:
        """(n,) what each squared residual comes to, had bakes scattered alike with variance 1."""
        assert self.left is not None
        return np.where(self.alone, 1.0, np.diag(self.left))

    @property
    def how(self) -> str:
        return SANDWICH if self.cells is None else WELCH

    def contrasts(self, rows: Floats) -> list[Contrast]:
        estimates = rows @ self.strata[0].fit.coefficients
        return [self._contrast(float(e), row @ self.half) for e, row in zip(estimates, rows, strict=True)]

    def _contrast(self, estimate: float, pull: Floats) -> Contrast:
        """``pull`` (n,): what each reading adds to the estimate."""
        parts = pull * pull * self.spread
        total = float(parts.sum())
        if not total > TINY * float(pull @ pull) * float(self.spread.max(initial=0.0)) or total <= 0:
            return Contrast(estimate, None, None)
        df = self._welch_df(parts) if self.cells is not None else self._sandwich_df(pull)
        if df is None or not df > 0:
            return Contrast(estimate, None, None)
        return Contrast(estimate, float(np.sqrt(total)), df)

    def _welch_df(self, parts: Floats) -> float | None:
        assert self.cells is not None
        sizes = np.bincount(self.cells)
        shares = np.bincount(self.cells, parts)
        below = float((shares**2 / (sizes - 1)).sum())
        return float(shares.sum() ** 2 / below) if below > 0 else None

    def _sandwich_df(self, pull: Floats) -> float | None:
        """Satterthwaite's df of a sum of squared residuals, as if bakes scattered alike."""
        if self.left is None:
            return float(self.strata[0].fit.df)
        weighed = pull * pull / self.room
        middle = weighed @ self.expected
        square = float(weighed @ (self.left**2) @ weighed) + float(weighed[self.alone].sum()) ** 2 / self._df_of_all
        return float(middle**2 / square) if square > 0 else None

    @property
    def _df_of_all(self) -> int:
        return max(self.strata[0].fit.df, 1)

    def covariance(self, rows: Floats) -> Floats | None:
        pulls = rows @ self.half
        return np.asarray((pulls * self.spread) @ pulls.T)

    def tests(self, kind: SquaresType) -> list[Test]:
        """Each term, averaged evenly over the others; sums of squares are those of least squares."""
        lines = dict(zip(self.strata[0].terms, plain_tests(self.strata[0], kind), strict=True))
        return [self._test(term, lines[term]) for term in self.terms]

    def _test(self, term: Term, line: Test) -> Test:
        judged = self._judged(self.strata[0].spans[term])
        value, df_error = judged if judged is not None else (None, None)
        p = None if value is None or df_error is None else f_tail(value, line.df, df_error)
        return Test(
            term=line.term,
            df=line.df,
            sum_sq=line.sum_sq,
            mean_sq=line.mean_sq,
            df_error=df_error,
            value=value,
            p=p,
            stratum=line.stratum,
        )

    def _judged(self, span: slice) -> tuple[float, float] | None:
        """(F, error df) of the coefficients of a term."""
        pulls = self.half[span]
        beta = self.strata[0].fit.coefficients[span]
        q = len(beta)
        spread = (pulls * self.spread) @ pulls.T
        scale = np.sqrt(np.diag(spread))
        if not np.all(scale > 0) or np.linalg.cond(spread / np.outer(scale, scale)) > 1e12:
            return None
        size = float(beta @ np.linalg.solve(spread, beta))
        return self._johansen(size, pulls, spread, q) if self.cells is not None else self._hotelling(size, pulls, q)

    def _johansen(self, size: float, pulls: Floats, spread: Floats, q: int) -> tuple[float, float] | None:
        assert self.cells is not None
        sizes = np.bincount(self.cells)
        shares = np.zeros(len(sizes))
        np.add.at(shares, self.cells, self.spread * np.einsum("in,in->n", pulls, np.linalg.solve(spread, pulls)))
        a = float((shares**2 / (sizes - 1)).sum())
        if not a > 0:
            return None
        stretch = q + 2 * a - 6 * a / (q + 2)
        return (size / stretch, q * (q + 2) / (3 * a)) if stretch > 0 else None

    def _hotelling(self, size: float, pulls: Floats, q: int) -> tuple[float, float] | None:
        """The size as Hotelling's T² on df that match the scatter of the covariance, had bakes scattered alike."""
        if q == 1:
            df = self._sandwich_df(pulls[0])
            return None if df is None or not df > 0 else (size, df)
        if self.left is None:
            return size / q, float(self.strata[0].fit.df)
        naive = pulls @ pulls.T
        values, directions = np.linalg.eigh(naive)
        turned = (directions / np.sqrt(values)).T @ pulls / np.sqrt(self.room)  # rows: directions at right angles
        expected = np.einsum("an,bn,n->ab", turned, turned, self.expected)
        squared = self.left**2
        total = 0.0
        for a in range(q):
            for b in range(q):
                cross = turned[a] * turned[b]
                total += 2 * float(cross @ squared @ cross)
                total += 2 * float(cross[self.alone].sum()) ** 2 / self._df_of_all
        bias = float(np.trace(expected)) / q  # 1, had bakes scattered alike
        if not total > 0:
            return None
        eta = q * (q + 1) * bias**2 / total
        df = eta - q + 1
        return (size * df / (eta * q), df) if df > 0 else None


def unequal(model: Model, stretch: Floats) -> UnequalModel:
    """The same fit with a variance for each treatment, or for each bake. ``model`` has one stratum with error df."""
    stratum = model.strata[0]
    fit = stratum.fit
    half = fit.inverse @ fit.q.T
    free = 1 - fit.leverage
    alone = free <= 1 - SURE
    room = np.where(alone, 1.0, free)
    cells = _cells([variable for variable in model.variables if not variable.block], fit.x.shape[1], model, stretch)
    residuals = fit.residuals
    if cells is not None:
        sizes = np.bincount(cells)
        spread = (np.bincount(cells, residuals**2) / (sizes - 1))[cells]
    else:
        spread = np.where(alone, fit.mean_sq or 0.0, residuals**2 / room)
    left = np.eye(len(fit.y)) - fit.q @ fit.q.T if len(fit.y) <= MOST_BAKES else None
    if left is not None:
        left[alone] = left[:, alone] = 0.0  # rounding
    return UnequalModel(
        model.variables,
        model.strata,
        model.offset,
        half=half,
        spread=spread,
        room=room,
        left=left,
        alone=alone,
        cells=cells,
    )


def _cells(factors: Sequence[Variable], columns: int, model: Model, stretch: Floats) -> Integers | None:
    """Treatment of each bake where the model is nothing but their means, each from two bakes or more."""
    if any(variable.block for variable in model.variables) or np.ptp(stretch) > 0:
        return None
    codes, counts = treatment_codes(factors)
    if len(counts) != columns or counts.min() < 2:
        return None
    residuals = model.strata[0].fit.residuals
    scatter = np.bincount(codes, residuals**2)
    return codes if scatter.min() > TINY * scatter.max() else None
