"""What is the fitted model of one response, ready to be asked?

Brings rows, terms and fit together: coefficients in the baker's units, grids to average over, and
standard errors that already hold what overdispersion adds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from analysis.estimates import Coefficient
from analysis.linear.distributions import t_quantile, t_tails
from analysis.parts import Threshold, Variance
from analysis.questions import Question, Response
from analysis.scores.data import Data
from analysis.scores.expected import Expected
from analysis.scores.fitting import Fit
from analysis.scores.readings import Readings
from analysis.scores.terms import Layout, Term

Floats = NDArray[np.float64]
PER_PARAMETER = 10
MOST_CELLS = 4000  # of a grid that is averaged over


@dataclass(frozen=True, eq=False, kw_only=True)
class Model:
    """``fit`` is what is reported (with Firth's penalty where ``separated`` names terms); ``free`` the one
    without it, for tests. ``endless`` is the direction without a top
    (``separation.endless``). ``dispersion`` and ``df`` belong to grouped shares and counts."""

    readings: Readings
    response: Response
    question: Question
    layout: Layout
    data: Data
    fit: Fit
    free: Fit
    labels: tuple[str, ...]
    separated: tuple[str, ...] = ()
    endless: Floats | None = None
    dispersion: float | None = None
    pearson: float | None = None
    df: int | None = None
    widened: bool = False

    @property
    def confidence(self) -> float:
        return self.question.confidence

    @cached_property
    def covariance(self) -> Floats | None:
        """Of edges (or constant) and effects, then the spreads between groups."""
        found = self.fit.covariance
        if found is None or self.dispersion is None or not self.widened:
            return found
        return found * max(self.dispersion, 1.0)

    @cached_property
    def expected(self) -> Expected:
        return Expected(self.fit.data, self.fit.params, self.covariance)

    @property
    def effects(self) -> slice:
        """Where the effects stand among the parameters."""
        return slice(self.fit.data.lead, self.fit.fixed)

    # How unusual, how wide

    def quantile(self, df: float | None) -> float:
        """Multiplier of a standard error; ``df`` None: of a normal."""
        return t_quantile(self.confidence, df) if df else float(ndtri((1 + self.confidence) / 2))

    def one_sided(self, df: float | None) -> float:
        """The same for each of two one-sided tests, an interval at 1 - 2 alpha."""
        return t_quantile(2 * self.confidence - 1, df) if df else float(ndtri(self.confidence))

    def p_value(self, z: float, df: float | None) -> float:
        return t_tails(z, df) if df else float(2 * ndtr(-abs(z)))

    @property
    def base_df(self) -> float | None:
        """Of edges and of means over everything: those of overdispersion, where there is any."""
        return float(self.df) if self.widened and self.df else None

    @cached_property
    def _dfs(self) -> dict[str, float | None]:
        return {
            term.name: error_df(self.free.data, place, self.base_df, float(self.readings.weights.sum()))
            for term, place in zip(self.layout.terms, self.layout.places(), strict=True)
        }

    def df_of(self, term: str) -> float | None:
        """Degrees of freedom a term is judged on (``error_df``); None in large samples."""
        return self._dfs.get(term, self.base_df)

    @property
    def few(self) -> bool:
        """Are there so few readings that some term is judged by F and t?"""
        return self.base_df is None and any(df is not None for df in self._dfs.values())

    def coefficient(
        self,
        name: str,
        row: Floats,
        limits: tuple[float | None, float | None] | None = None,
        df: float | None = None,
    ) -> Coefficient:
        """A linear function of the parameters; ``limits`` stand instead of the usual ones."""
        estimate = float(row @ self.fit.params)
        variance = None if self.covariance is None else float(row @ self.covariance @ row)
        if variance is None or variance <= 0:
            return Coefficient(term=name, estimate=estimate)
        se = float(np.sqrt(variance))
        half = self.quantile(df) * se
        low, high = limits or (estimate - half, estimate + half)
        z = estimate / se
        return Coefficient(term=name, estimate=estimate, se=se, low=low, high=high, df=df, t=z, p=self.p_value(z, df))

    def row_of(self, column: int) -> Floats:
        """The row that stands for one effect, in the baker's units."""
        row = np.zeros(len(self.fit.params))
        row[self.fit.data.lead + column] = 1 / self.layout.halves()[column]
        return row

    @cached_property
    def origin(self) -> Floats:
        """The row (p,) of all amounts at 0 and categories at their reference.

        Logs stand at 1. With interactions of amounts, at their mean instead.
        """
        if any(
            len(t.members) > 1 and any(self.layout.variables[i].amount for i in t.members) for t in self.layout.terms
        ):
            return np.zeros(self.data.x.shape[1])
        cells = {v.name: [(1.0 if v.log else 0.0) if v.amount else v.reference] for v in self.layout.variables}
        return self.layout.matrix(cells, 1)[0]

    def lead_row(self, at: int) -> Floats:
        """An edge (or a count's constant) at the origin."""
        row = np.zeros(len(self.fit.params))
        row[at] = 1.0
        row[self.effects] = self.origin if self.fit.data.counted else -self.origin
        return row

    # Grids

    def cells(self, fixed: Mapping[str, object]) -> Floats:
        """Rows for settings, even over the levels of every other category, other amounts at their mean."""
        others = [v for v in self.layout.variables if v.name not in fixed]
        choices: list[Sequence[object]] = []
        for v in others:
            centre = float(np.exp(v.middle)) if v.log else v.middle
            choices.append([centre] if v.amount else list(v.levels))
        combos = list(product(*choices))
        if len(combos) > MOST_CELLS:  # then over what was baked
            frame = self.readings.frame
            columns: dict[str, list[object]] = {v.name: frame[v.name].tolist() for v in others}
            count = len(frame)
        else:
            count = len(combos)
            columns = {v.name: [combo[i] for combo in combos] for i, v in enumerate(others)}
        for name, value in fixed.items():
            columns[name] = [value] * count
        return self.layout.matrix(columns, count)

    def link_row(self, fixed: Mapping[str, object]) -> Floats:
        """The same on the hidden scale, as a row over all parameters."""
        row = np.zeros(len(self.fit.params))
        row[self.effects] = self.cells(fixed).mean(axis=0)
        return row

    def bounds(self) -> tuple[float, float] | None:
        """Between which values an expectation lies; None for counts."""
        values = self.data.values
        return (float(min(values)), float(max(values))) if values else None

    def within(self, estimate: float, se: float, factor: float) -> tuple[float, float]:
        """Interval of an expectation that stays inside the scale: symmetric on the logit (or log) of its place."""
        bounds = self.bounds()
        if bounds is None:
            if estimate <= 0:
                return 0.0, factor * se
            half = factor * se / estimate
            return estimate * float(np.exp(-min(half, 300))), estimate * float(np.exp(min(half, 300)))
        low, high = bounds
        share = (estimate - low) / (high - low)
        if not 1e-9 < share < 1 - 1e-9:
            return max(low, estimate - factor * se), min(high, estimate + factor * se)
        half = factor * se / (high - low) / (share * (1 - share))
        logit = float(np.log(share / (1 - share)))
        ends = [low + (high - low) / (1 + float(np.exp(-np.clip(logit + side * half, -700, 700)))) for side in (-1, 1)]
        return ends[0], ends[1]


def coefficients(model: Model, limits: Mapping[int, tuple[float | None, float | None]]) -> tuple[Coefficient, ...]:
    """Effects in the baker's units; before them the constant of yes-no and counts. ``limits``: column -> interval
    (-1: the constant)."""
    found = []
    if model.data.lead == 1:
        row = model.lead_row(0)
        row = row if model.data.counted else -row
        found.append(model.coefficient("intercept", row, limits.get(-1), model.base_df))
    labels = model.layout.labels()
    for term, place in zip(model.layout.terms, model.layout.places(), strict=True):
        for column in place:
            df = model.df_of(term.name)
            found.append(model.coefficient(labels[column], model.row_of(column), limits.get(column), df))
    return tuple(found)


def thresholds(model: Model) -> tuple[Threshold, ...]:
    """Edges between neighbouring scores; yes-no has its constant among the coefficients instead."""
    if model.data.lead == 1:
        return ()
    found = []
    for at, (one, other) in enumerate(zip(model.labels, model.labels[1:], strict=False)):
        its = model.coefficient("", model.lead_row(at), df=model.base_df)
        found.append(Threshold(between=f"{one}|{other}", estimate=its.estimate, se=its.se, low=its.low, high=its.high))
    return tuple(found)


def variances(fit: Fit) -> tuple[Variance, ...]:
    """Between groups, on the hidden scale; intervals on the log of the standard deviation. Those at 0 come last."""
    found = []
    covariance = fit.covariance
    for at, (kin, sd) in enumerate(zip(fit.data.kin, fit.sds, strict=True)):
        place = fit.fixed + at
        low = high = None
        if covariance is not None and covariance[place, place] > 0:
            half = float(ndtri(0.975)) * float(np.sqrt(covariance[place, place])) / float(sd)
            low, high = float(sd**2 * np.exp(-2 * min(half, 100))), float(sd**2 * np.exp(2 * min(half, 100)))
        found.append(Variance(group=kin.name, variance=float(sd**2), sd=float(sd), low=low, high=high))
    found += [Variance(group=name, variance=0.0, sd=0.0, boundary=True) for name in fit.boundary]
    return tuple(found)


def as_other(model: Model, fit: Fit) -> Model:
    """The same model with its integral done another way, errors as the likelihood has them."""
    return replace(model, fit=fit, free=fit, widened=False)


def error_df(data: Data, columns: Sequence[int], base: float | None, readings: float) -> float | None:
    """Degrees of freedom for one term's columns; None where the large-sample tests hold.

    With fewer than ten readings for each parameter chi-square promises too much (7 to 9 % of
    false alarms with 24 readings of a five-point score). Ratios are then judged by F, effects by t, on the
    readings less effects less 1, for what was set for whole groups on the groups less such effects:
    simulated error rates lie between 3.5 and 6 %.
    """
    if base is not None or data.counted:
        return base
    x = data.x
    for kin in sorted(data.kin, key=lambda one: one.count):
        if all(constant_within(x[:, column], kin.codes, kin.count) for column in columns):
            between = sum(constant_within(x[:, at], kin.codes, kin.count) for at in range(x.shape[1]))
            return float(max(kin.count - between, 1)) if kin.count < PER_PARAMETER * (between + 1) else None
    effects = x.shape[1]
    if readings >= PER_PARAMETER * (data.lead + effects):
        return None
    return float(max(readings - effects - 1, 1))


def constant_within(values: Floats, codes: NDArray[np.int64], count: int) -> bool:
    """Does a column change only between groups?"""
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, codes, values)
    np.maximum.at(high, codes, values)
    return bool((high - low < 1e-12).all())


def term_columns(layout: Layout, terms: Sequence[Term]) -> list[int]:
    places = dict(zip(layout.terms, layout.places(), strict=True))
    return [column for term in terms for column in places[term]]
