"""What would a treatment give that was not baked?

The fitted factorial model asked at any settings: amounts anywhere, categories at their levels,
blocks averaged over. It says nothing about how far outside the baked range that may be trusted.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.errors import TrialDataError
from analysis.linear.coding import Term, Variable, term_width
from analysis.linear.mixed_model import MixedModel
from analysis.linear.residual_checks import bakes_stratum
from analysis.linear.stratum import Contrast, Model
from analysis.predicting import Settings, Span, Treatments

Floats = NDArray[np.float64]

SHARED = 2000  # draws made once for goals, their regions and next bakes alike


@dataclass(frozen=True, eq=False)
class LinearPredictor:
    """Means of a fitted factorial model over settings (see ``analysis.predicting.Predictor``)."""

    model: Model

    @cached_property
    def spans(self) -> Mapping[str, Span]:
        return {variable.name: _span(variable) for variable in self.model.variables if not variable.block}

    @property
    def sd(self) -> float | None:
        mean_sq = bakes_stratum(self.model).mean_sq
        return None if mean_sq is None else float(np.sqrt(mean_sq))

    @property
    def df(self) -> float | None:
        """The fewest error degrees of freedom among the strata that have terms."""
        if isinstance(self.model, MixedModel):
            least = [line.df_error for line in self.model.tests(3) if line.df_error is not None]
            return min(least, default=None)
        found = [stratum.fit.df for stratum in self.model.strata if stratum.terms]
        return float(min(found)) if found and min(found) > 0 else None

    def mean(self, settings: Treatments) -> Floats:
        return np.asarray(np.einsum("ij,j->i", self.rows(settings), self._coefficients) + self.model.offset)

    def se(self, settings: Treatments) -> Floats | None:
        return self.se_of(self.rows(settings))

    def se_of(self, rows: Floats) -> Floats | None:
        """Standard errors of rows (m, all columns) @ coefficients, such as differences of treatments."""
        covariance = self._covariance
        if covariance is None:
            return None
        return np.asarray(np.sqrt(np.maximum(((rows @ covariance) * rows).sum(axis=1), 0.0)))

    def contrasts(self, rows: Floats) -> list[Contrast]:
        """Rows (m, all columns) @ coefficients, each judged with the df of its own strata."""
        return self.model.contrasts(rows)

    def covariance(self, settings: Treatments) -> Floats | None:
        """Covariance (m, m) of the means at the settings; None without anything to judge by."""
        rows, covariance = self.rows(settings), self._covariance
        return None if covariance is None else np.asarray(rows @ covariance @ rows.T)

    def draws(self, settings: Treatments, *, count: int, seed: int) -> Floats | None:
        """Coefficients from the multivariate t around the fitted ones, the same for every treatment of a draw."""
        away = self._away(max(count, SHARED), seed)
        if away is None:
            return None
        rows = self.rows(settings)
        found = (self._coefficients + away[:count]) @ rows.T
        return np.asarray(found + self.model.offset)

    def drawn_moments(self, settings: Treatments, *, count: int, seed: int) -> tuple[Floats, Floats] | None:
        """Means (m,) and covariance (m, m) of just those draws, without making each of them."""
        away = self._away(max(count, SHARED), seed)
        if away is None:
            return None
        rows, away = self.rows(settings), away[:count]
        middle = away.mean(axis=0)
        around = away - middle
        covariance = around.T @ around / (count - 1)
        return rows @ (self._coefficients + middle) + self.model.offset, rows @ covariance @ rows.T

    def _away(self, count: int, seed: int) -> Floats | None:
        """How far drawn coefficients lie from the fitted ones (count, all columns): one draw for all who ask."""
        kept = self._drawn.get((count, seed))
        covariance, df = self._covariance, self.df
        if kept is not None or covariance is None or df is None or df < 1:  # less than one df: draws without an end
            return kept
        sizes, directions = np.linalg.eigh(covariance)
        half = directions * np.sqrt(np.maximum(sizes, 0.0))
        normal, wider = _multivariate_t(count, len(half), df, seed)
        self._drawn[count, seed] = (normal @ half.T) * wider[:, None]
        return self._drawn[count, seed]

    @cached_property
    def _drawn(self) -> dict[tuple[int, int], Floats]:
        return {}

    def rows(self, settings: Treatments) -> Floats:
        """Model rows (m, all columns) of the settings. Raises TrialDataError for a level that was not baked."""
        if isinstance(settings, Settings):
            return settings.once(self._coding, lambda: self._rows(settings))
        return self._rows(settings)

    def _rows(self, settings: Treatments) -> Floats:
        columns = {i: _columns(v, settings) for i, v in enumerate(self.model.variables) if not v.block}
        found = np.tile(self._constant, (len(settings), 1))
        for term in self.model.terms:
            if not term.block:
                found[:, self._slots[term]] = _product([columns[member] for member in term.members])
        return found

    @cached_property
    def _coding(self) -> tuple[object, ...]:
        """The same for all models whose rows are the same, such as those of other responses of the same bakes."""
        asked = tuple(
            (v.name, v.amount, v.levels, v.coded.tobytes(), v.middle, v.half)
            for v in self.model.variables
            if not v.block
        )
        terms = tuple((term.members, tuple(slots)) for term, slots in self._slots.items() if not term.block)
        return (type(self), asked, terms, self._constant.tobytes())

    @cached_property
    def _slots(self) -> Mapping[Term, NDArray[np.int64]]:
        variables = self.model.variables
        return {
            term: np.flatnonzero(self.model.only(term, np.ones(term_width(variables, term))))
            for term in self.model.terms
        }

    @cached_property
    def _constant(self) -> Floats:
        """The row of the constant alone: what stands in no term's columns."""
        row = self.model.row({}).copy()
        for slots in self._slots.values():
            row[slots] = 0.0
        return row

    @cached_property
    def _coefficients(self) -> Floats:
        return np.array([contrast.estimate for contrast in self.model.contrasts(np.eye(len(self._constant)))])

    @cached_property
    def _covariance(self) -> Floats | None:
        return self.model.covariance(np.eye(len(self._constant)))


@lru_cache(maxsize=4)  # the responses of a trial ask for the same
def _multivariate_t(count: int, columns: int, df: float, seed: int) -> tuple[Floats, Floats]:
    """Standard normal numbers (count, columns), and by how much each row is to be widened (count,)."""
    chance = np.random.Generator(np.random.PCG64(seed))
    normal = chance.standard_normal((count, columns))
    return normal, np.sqrt(df / chance.chisquare(df, size=count))


def _span(variable: Variable) -> Span:
    if not variable.amount or variable.values is None:
        return Span(name=variable.name, levels=variable.levels)
    values = tuple(float(value) for value in variable.values)
    return Span(name=variable.name, low=values[0], high=values[-1], baked=values)


def _columns(variable: Variable, settings: Treatments) -> Floats:
    """Coded columns (m, d) of one variable at the settings."""
    if variable.amount:
        values = np.asarray(settings[variable.name], dtype=np.float64)
        return np.asarray(((values - variable.middle) / variable.half)[:, None])
    own, found = pd.factorize(np.asarray(settings[variable.name], dtype=object))
    asked = [str(level) for level in found]
    places = {level: place for place, level in enumerate(variable.levels)}
    unknown = [level for level in asked if level not in places]
    if unknown:
        raise TrialDataError(
            f'"{unknown[0]}" was not baked, so that nothing is known of it.',
            where=variable.name,
            try_this=f"Ask for {' or '.join(variable.levels)}.",
        )
    return np.asarray(variable.coded[np.array([places[level] for level in asked], dtype=np.int64)[own]])


def _product(parts: list[Floats]) -> Floats:
    found = parts[0]
    for more in parts[1:]:
        found = (found[:, :, None] * more[:, None, :]).reshape(len(found), -1)
    return found
