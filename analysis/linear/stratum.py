"""Against which error is a term judged?

A stratum is one least-squares fit with the terms it can test. Most trials have one,
"bakes". When bakes come in whole plots there are two: whole-plot means, and what is
left within whole plots. Sums of squares are on the scale of single bakes in both.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from analysis.linear.coding import Term, Variable, term_row, term_width
from analysis.linear.distributions import t_quantile
from analysis.linear.least_squares import Fit

Floats = NDArray[np.float64]

BAKES = "bakes"


@dataclass(frozen=True, eq=False)
class Stratum:
    """``spans`` says which columns of ``fit.x`` belong to a term; column 0 is the constant if there is one.

    ``noiseless`` tells that the scatter is nothing but rounding, so that nothing may be tested.
    Terms of finer strata have a mean in this one too: ``finer`` (rows,) is what each adds to the
    readings here, taken out before the fit; ``shifts`` say, for every finer stratum, how its
    coefficients move those of this one (p, columns of the finer).
    """

    name: str
    terms: tuple[Term, ...]
    spans: Mapping[Term, slice]
    fit: Fit
    constant: bool
    noiseless: bool = False
    finer: Mapping[Term, Floats] = field(default_factory=dict)
    shifts: tuple[Floats, ...] = ()

    @property
    def fitted(self) -> Floats:
        """Fitted readings of the stratum, with what finer terms add to them."""
        return self.fit.fitted + sum(self.finer.values(), np.zeros(len(self.fit.y)))

    def readings_for(self, term: Term) -> Floats:
        """The readings that judge a term averaged over finer terms that contain it (oven over oven:soda)."""
        held = [part for finer, part in self.finer.items() if finer.contains(term)]
        return self.fit.y + sum(held, np.zeros(len(self.fit.y)))

    @property
    def mean_sq(self) -> float | None:
        """Error mean square, or None when there is nothing to judge against."""
        return None if self.noiseless else self.fit.mean_sq

    def columns(self, terms: Sequence[Term]) -> Floats:
        """Model columns of the constant (if there is one) and of ``terms``."""
        parts = [self.fit.x[:, :1]] if self.constant else [self.fit.x[:, :0]]
        return np.hstack(parts + [self.fit.x[:, self.spans[term]] for term in terms])


@dataclass(frozen=True)
class Contrast:
    """An estimate with its standard error; both error parts None without error df."""

    estimate: float
    se: float | None
    df: float | None

    def interval(self, confidence: float) -> tuple[float | None, float | None]:
        if self.se is None or self.df is None:
            return None, None
        return self.within(t_quantile(confidence, self.df) * self.se)

    def within(self, margin: float) -> tuple[float, float]:
        return self.estimate - margin, self.estimate + margin


@dataclass(frozen=True, eq=False)
class Model:
    """The fitted strata together. ``offset`` is the constant taken off the readings before fitting."""

    variables: tuple[Variable, ...]
    strata: tuple[Stratum, ...]
    offset: float

    @property
    def terms(self) -> tuple[Term, ...]:
        """Every fitted term: blocks, factors, then interactions by order."""
        found = [term for stratum in self.strata for term in stratum.terms]
        return tuple(sorted(found, key=lambda term: (not term.block, term.order, term.members)))

    def stratum_of(self, term: Term) -> Stratum:
        return next(stratum for stratum in self.strata if term in stratum.spans)

    def find(self, *members: int) -> Term | None:
        wanted = tuple(sorted(members))
        return next((term for term in self.terms if term.members == wanted), None)

    def row(self, settings: Mapping[int, int]) -> Floats:
        """One row over the columns of all strata for a setting (variable position -> level)."""
        parts = []
        for stratum in self.strata:
            if stratum.constant:
                parts.append(np.ones(1))
            parts.extend(term_row(self.variables, term, settings) for term in stratum.terms)
        return np.concatenate(parts)

    def only(self, term: Term, values: Floats) -> Floats:
        """A row that is ``values`` in the columns of ``term`` and zero elsewhere."""
        parts = []
        for stratum in self.strata:
            if stratum.constant:
                parts.append(np.zeros(1))
            for other in stratum.terms:
                parts.append(values if other == term else np.zeros(term_width(self.variables, other)))
        return np.concatenate(parts)

    def contrasts(self, rows: Floats) -> list[Contrast]:
        """Estimates of rows (m, all columns) @ coefficients, without the offset.

        When a contrast draws on two strata its variance is the sum of both parts and
        its df are Satterthwaite's: (sum of parts)^2 / sum(part^2 / df). A coarser stratum was
        fitted after the finer terms were taken out, so its coefficients carry theirs.
        """
        estimates = np.zeros(len(rows))
        parts: list[tuple[Floats, float | None, int]] = []
        edges = np.cumsum([0, *(stratum.fit.x.shape[1] for stratum in self.strata)])
        drawn = [rows[:, start:stop] for start, stop in pairwise(edges)]
        for place, stratum in enumerate(self.strata):
            estimates += rows[:, edges[place] : edges[place + 1]] @ stratum.fit.coefficients
            parts.append((stratum.fit.variance_factors(drawn[place]), stratum.mean_sq, stratum.fit.df))
            for finer, shift in enumerate(stratum.shifts, start=place + 1):
                drawn[finer] = drawn[finer] - drawn[place] @ shift
        return [_contrast(estimate, [(f[i], m, d) for f, m, d in parts]) for i, estimate in enumerate(estimates)]

    def covariance(self, rows: Floats) -> Floats | None:
        """Covariance (m, m) of rows (m, all columns) @ coefficients; None where a part has no error df."""
        total = np.zeros((len(rows), len(rows)))
        edges = np.cumsum([0, *(stratum.fit.x.shape[1] for stratum in self.strata)])
        drawn = [rows[:, start:stop] for start, stop in pairwise(edges)]
        for place, stratum in enumerate(self.strata):
            half = drawn[place] @ stratum.fit.inverse
            part = half @ half.T
            if np.abs(part).max(initial=0.0) > 1e-14:
                if stratum.mean_sq is None:
                    return None
                total += part * stratum.mean_sq
            for finer, shift in enumerate(stratum.shifts, start=place + 1):
                drawn[finer] = drawn[finer] - drawn[place] @ shift
        return total

    def contrast(self, row: Floats) -> Contrast:
        return self.contrasts(row[None, :])[0]


def _contrast(estimate: float, parts: Sequence[tuple[float, float | None, int]]) -> Contrast:
    largest = max((factor for factor, _, _ in parts), default=0.0)
    used = [(factor, mean_sq, df) for factor, mean_sq, df in parts if factor > 1e-14 * largest]
    shares = [(factor * mean_sq, df) for factor, mean_sq, df in used if mean_sq is not None]
    total = sum(share for share, _ in shares)
    if len(shares) < len(used) or total <= 0:
        return Contrast(float(estimate), None, None)
    if len(shares) == 1:
        return Contrast(float(estimate), float(np.sqrt(total)), float(shares[0][1]))
    df = total * total / sum(share * share / df for share, df in shares)
    return Contrast(float(estimate), float(np.sqrt(total)), float(df))
