"""What does a model with groups say of a term, a level, a difference?

The coefficients and their covariance come from REML; everything else asks it through the face of
``stratum.Model``. The one stratum it holds serves the hypotheses (its columns are the model's, without
the groups) and the leftovers of bakes from the values fitted with their groups.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from analysis.estimates import Test
from analysis.linear.coding import Term, Variable
from analysis.linear.distributions import f_tail
from analysis.linear.fitting import NOTHING, ROUNDING
from analysis.linear.joint import Spare, error_of, model_columns
from analysis.linear.least_squares import Fit, least_squares
from analysis.linear.random_groups import RandomGroup
from analysis.linear.selection import Selection
from analysis.linear.squares import DISAGREE, SquaresType, is_orthogonal
from analysis.linear.stratum import BAKES, Contrast, Model, Stratum
from analysis.questions import SmallSample

if TYPE_CHECKING:  # loaded where a model with groups is fitted
    from analysis.mixed.fit import MixedFit
    from analysis.mixed.terms import RandomTerm

DF_METHODS: Mapping[SmallSample, str] = {"kenward-roger": "Kenward-Roger", "satterthwaite": "Satterthwaite"}

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class MixedStratum(Stratum):
    """The columns without the groups, and the scatter of bakes (or readings) within them."""

    sigma2: float = 0.0

    @property
    def mean_sq(self) -> float | None:
        return None if self.noiseless else self.sigma2


@dataclass(frozen=True, eq=False)
class MixedModel(Model):
    """``unjudged`` are columns whose scatter nothing was left to judge by; ``errors`` name, for each term,
    the groups (or bakes) whose scatter it is judged against. ``caps`` are the df of that scatter, set where
    one was estimated as 0: the estimate alone would let terms rest on the scatter of all strata together.
    """

    mixed: MixedFit
    groups: tuple[RandomGroup, ...]
    method: SmallSample
    errors: Mapping[Term, str]
    unjudged: Integers
    noiseless: bool = False
    caps: Mapping[Term, int] = field(default_factory=dict)
    weights: Floats | None = None

    def contrasts(self, rows: Floats) -> list[Contrast]:
        blind = (np.abs(rows[:, self.unjudged]) > STILL).any(axis=1) | np.full(len(rows), self.noiseless)
        found = self.mixed.contrasts(rows, method=self.method)
        limits = self._limits(rows)
        return [
            Contrast(float(estimate), None, None)
            if dark or se is None or df is None or not se > 0 or not df > 0
            else Contrast(float(estimate), float(se), min(float(df), limit))
            for (estimate, se, df), dark, limit in zip(found, blind, limits, strict=True)
        ]

    def covariance(self, rows: Floats) -> Floats | None:
        if self.noiseless or (np.abs(rows[:, self.unjudged]) > STILL).any():
            return None
        spread = self.mixed.adjusted if self.method == "kenward-roger" else self.mixed.covariance
        return np.asarray(rows @ spread @ rows.T)

    def tests(self, kind: SquaresType) -> list[Test]:
        """One line for each term: F as ``method`` has it, its squares on the scale of the residual variance."""
        return [self._test(term, kind) for term in self.terms]

    def _test(self, term: Term, kind: SquaresType) -> Test:
        rows = self.hypothesis(term, kind)
        df, error = len(rows), self.errors[term]
        value, _, df_error = self.mixed.f_test(rows, method=self.method)
        blind = self.noiseless or (np.abs(rows[:, self.unjudged]) > STILL).any()
        if blind or value is None or df_error is None or not df_error > 0:
            return Test(term=term.name, df=df, sum_sq=0.0, mean_sq=0.0, df_error=None, stratum=error)
        df_error = min(float(df_error), float(self.caps.get(term, np.inf)))
        mean_sq = float(value) * self.mixed.sigma2
        return Test(
            term=term.name,
            df=df,
            sum_sq=mean_sq * df,
            mean_sq=mean_sq,
            df_error=df_error,
            value=float(value),
            p=f_tail(float(value), df, df_error),
            stratum=error,
        )

    def hypothesis(self, term: Term, kind: SquaresType) -> Floats:
        """Rows (q, p) of coefficients that are 0 when the term does nothing, in the sense of the type of squares.

        Types 1 and 2 ask the model without the terms that come later, or that contain this one.
        """
        stratum = self.strata[0]
        x, span = stratum.fit.x, stratum.spans[term]
        kept = list(stratum.terms)
        if kind == 1:
            kept = kept[: kept.index(term) + 1]
        elif kind == 2:
            kept = [other for other in kept if not other.contains(term)]
        if len(kept) == len(stratum.terms):
            return np.asarray(np.eye(x.shape[1])[span])
        smaller = stratum.columns(kept)
        start = 1 + sum(stratum.fit.x[:, stratum.spans[other]].shape[1] for other in kept[: kept.index(term)])
        weights = np.linalg.lstsq(smaller, x, rcond=None)[0][start : start + span.stop - span.start]
        weights[np.abs(weights) < STILL] = 0.0
        return np.asarray(weights)

    def disagreements(self) -> list[tuple[str, float, float]]:
        """(term, p of type 2, p of type 3) where the two types would lead to different talk."""
        if self.noiseless or is_orthogonal(self.strata[0]):
            return []
        low, high = DISAGREE
        pairs = [(two, three) for two, three in zip(self.tests(2), self.tests(3), strict=True)]
        return [
            (two.term, two.p, three.p)
            for two, three in pairs
            if two.p is not None and three.p is not None
            if min(two.p, three.p) < low and max(two.p, three.p) > high
        ]

    def added(self, columns: Floats, beside: Floats | None = None) -> tuple[float, int, float, float, float] | None:
        """(F, df, error df, p, residual variance) of further columns (n, d) in the model, after those of
        ``beside`` (n, e); None when they say nothing new."""
        stratum = self.strata[0]
        x = np.hstack([stratum.fit.x, *([] if beside is None else [beside]), columns])
        if self.noiseless or np.linalg.matrix_rank(x / np.linalg.norm(x, axis=0)) < x.shape[1]:
            return None
        from analysis.mixed.reml import fit_reml

        wider = fit_reml(stratum.fit.y, x, terms_of(self.groups), weights=self.weights)
        value, df, df_error = wider.f_test(np.eye(x.shape[1])[-columns.shape[1] :], method=self.method)
        if value is None or df_error is None or not df_error > 0:
            return None
        return float(value), df, float(df_error), f_tail(float(value), df, float(df_error)), wider.sigma2

    def _limits(self, rows: Floats) -> list[float]:
        limits = np.full(len(rows), np.inf)
        for term, cap in self.caps.items():
            limits[(np.abs(rows[:, self.strata[0].spans[term]]) > STILL).any(axis=1)] = cap
        return [float(limit) for limit in limits]


STILL = 1e-12  # coefficients smaller than this in a row are rounding


def terms_of(groups: Sequence[RandomGroup]) -> list[RandomTerm]:
    from analysis.mixed.terms import RandomTerm

    return [RandomTerm(g.name, g.codes, slope=g.slope, slope_name=g.slope_name) for g in groups]


def mixed_model(
    variables: Sequence[Variable],
    selection: Selection,
    y: Floats,
    offset: float,
    groups: Sequence[RandomGroup],
    left: Spare,
    *,
    raw: Floats,
    method: SmallSample,
    weights: Floats | None = None,
) -> MixedModel:
    """``y`` are the readings ``raw`` less ``offset``; ``left`` the df for the scatter of each kind of group."""
    from analysis.mixed.reml import fit_reml

    terms = tuple(selection.columns)
    x = model_columns(selection, len(y))
    spans, start = {}, 1
    for term in terms:
        spans[term] = slice(start, start + selection.columns[term][1].shape[1])
        start = spans[term].stop
    seen = [group for group, df in zip(groups, left.groups, strict=True) if df > 0]
    fitted = fit_reml(y, x, terms_of(seen), weights=weights)
    plain = least_squares(x, y)
    fit = Fit(x, y, plain.q, plain.r, fitted.coefficients, y - fitted.conditional, left.residual)
    floor = max(NOTHING * float(np.ptp(raw)), ROUNDING * float(np.abs(raw).max()))
    noiseless = bool(np.sqrt(fitted.sigma2) <= floor)
    unseen = [group for group, df in zip(groups, left.groups, strict=True) if df <= 0]
    errors = {term: error_of(selection.columns[term][1], groups) for term in terms}
    blind = [spans[term] for term in terms if errors[term] in {group.name for group in unseen}]
    columns = [0, *(at for span in blind for at in range(span.start, span.stop))] if unseen else []
    limits = {BAKES: left.residual, **{group.name: df for group, df in zip(groups, left.groups, strict=True)}}
    edge = any(group.name in fitted.boundary for group in groups)
    return MixedModel(
        tuple(variables),
        (MixedStratum(BAKES, terms, spans, fit, constant=True, noiseless=noiseless, sigma2=fitted.sigma2),),
        offset,
        mixed=fitted,
        groups=tuple(seen),
        method=method,
        errors=errors,
        unjudged=np.array(columns, dtype=np.int64),
        noiseless=noiseless,
        caps={term: limits[error] for term, error in errors.items() if limits[error] > 0} if edge else {},
        weights=weights,
    )
