"""How does the spread come apart when cells are missing or not equally full?

Restricted maximum likelihood of ``analysis.mixed``; sums by Satterthwaite's degrees of freedom from the
covariance of the estimated variances, the repeats exactly from what readings of one cell scatter, a
component of 0 by its profile (which has an upper end there).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri, fdtri

from analysis.control.gauge.results import SINGLE, SUMS, Component, InteractionTest, ModelName
from analysis.control.gauge.study import Study
from analysis.mixed.fit import MixedFit
from analysis.mixed.profile import profile_interval
from analysis.mixed.reml import fit_reml
from analysis.mixed.results import interval
from analysis.mixed.satterthwaite import satterthwaite
from analysis.mixed.terms import FloatArray, RandomTerm

RESIDUAL = "residual"


@dataclass(frozen=True, eq=False)
class Uneven:
    """A fit with variances by component and their covariance, in order of ``keys``; 0 where one is at the edge."""

    model: ModelName
    fit: MixedFit
    keys: tuple[str, ...]
    values: FloatArray
    covariance: FloatArray
    scatter: tuple[float, int]

    def of(self, key: str) -> tuple[float, float]:
        """(variance, its sampling variance) of a component or sum."""
        weight = np.array([1.0 if part in SUMS.get(key, (key,)) else 0.0 for part in self.keys])
        return float(weight @ self.values), float(weight @ self.covariance @ weight)


def model_of(study: Study, *, interaction: bool) -> ModelName:
    if len(study.people) == 1:
        return "one person"
    if study.nested:
        return "nested"
    return "with person by piece" if interaction else "without person by piece"


def terms_of(study: Study, model: ModelName, *, person: bool = True) -> list[RandomTerm]:
    """Random groups of the model; ``person`` False leaves people to the fixed part."""
    terms = [RandomTerm("piece", study.piece)]
    if person and len(study.people) > 1:
        terms.insert(0, RandomTerm("person", study.person))
    if model == "with person by piece":
        terms.append(RandomTerm("person by piece", study.cell))
    return terms


def fit_uneven(study: Study, *, interaction: bool) -> Uneven:
    """Raises NotPossible when no scatter is left within the cells."""
    model = model_of(study, interaction=interaction)
    fit = fit_reml(study.y, np.ones((len(study.y), 1)), terms_of(study, model))
    own = {line.group: line.variance for line in fit.variances}
    keys = tuple(key for key in SINGLE if (RESIDUAL if key == "repeatability" else key) in own)
    values = np.array([own[RESIDUAL if key == "repeatability" else key] for key in keys])
    scatter = scatter_of(study, cells=model != "without person by piece")
    return Uneven(model=model, fit=fit, keys=keys, values=values, covariance=_covariance(fit, keys), scatter=scatter)


def _covariance(fit: MixedFit, keys: tuple[str, ...]) -> FloatArray:
    found = satterthwaite(fit.solved.at, fit.solved.layout, fit.solved.theta).variances * fit.solved.y_scale**4
    kept = [term.name for term in fit.terms if term.name not in fit.boundary] + [RESIDUAL]
    out = np.zeros((len(keys), len(keys)))
    names = [RESIDUAL if key == "repeatability" else key for key in keys]
    for i, one in enumerate(names):
        for j, other in enumerate(names):
            if one in kept and other in kept:
                out[i, j] = found[kept.index(one), kept.index(other)]
    return out


def scatter_of(study: Study, *, cells: bool) -> tuple[float, int]:
    """(mean square, df) of readings about their cell, or about person + piece."""
    if cells:
        means = np.bincount(study.cell, study.y) / study.counts
        return float(((study.y - means[study.cell]) ** 2).sum() / study.within_df), study.within_df
    sum_sq, rank = additive(study)
    return sum_sq / (len(study.y) - rank), len(study.y) - rank


def additive(study: Study) -> tuple[float, int]:
    """(residual sum of squares, rank) of person + piece, on the cells' means and weights (far fewer rows)."""
    first = np.unique(study.cell, return_index=True)[1]
    root = np.sqrt(study.counts)
    means = np.bincount(study.cell, study.y) / study.counts
    columns = np.zeros((study.cells, len(study.people) + len(study.pieces)))
    rows = np.arange(study.cells)
    columns[rows, study.person[first]] = 1
    columns[rows, len(study.people) + study.piece[first]] = 1
    middle = float(study.y.mean())
    solved, _, rank, _ = np.linalg.lstsq(columns * root[:, None], (means - middle) * root, rcond=1e-10)
    left = (means - middle - columns @ solved) * root
    within = float(((study.y - means[study.cell]) ** 2).sum())
    return float(left @ left) + within, int(rank)


def interaction_test(study: Study) -> InteractionTest | None:
    """None where there is nothing to judge it by: no repeats, people without pieces in common, one person."""
    from scipy.special import fdtrc

    if study.nested or len(study.people) == 1 or not study.within_df:
        return None
    sum_sq, rank = additive(study)
    df = study.cells - rank
    within, df_error = scatter_of(study, cells=True)
    if df < 1:
        return None
    f = max(0.0, (sum_sq - within * df_error) / df) / within
    return InteractionTest(f=f, df=df, df_error=df_error, p=float(fdtrc(df, df_error, f)))


def uneven_components(found: Uneven, confidence: float) -> dict[str, Component]:
    """Each component and sum that the study can tell."""
    out = {}
    for key in (*SINGLE, *SUMS):
        if not any(part in found.keys for part in SUMS.get(key, (key,))):
            continue
        value, spread = found.of(key)
        low, high = interval(value, spread, confidence)
        method = "satterthwaite"
        if key == "repeatability":
            low, high = _exact(found.scatter, confidence)
            method = "chi-squared"
        elif value == 0 and key in found.keys:
            low, high = profile_interval(found.fit, key, confidence=confidence)
            method = "profile"
        low = None if low is None else min(low, value)
        high = None if high is None else max(high, value)
        out[key] = Component(key=key, variance=value, low=low, high=high, method=method, boundary=value == 0)
    return out


def _exact(scatter: tuple[float, int], confidence: float) -> tuple[float, float]:
    mean_sq, df = scatter
    tail = (1 - confidence) / 2
    return mean_sq * df / float(chdtri(df, tail)), mean_sq * df / float(chdtri(df, 1 - tail))


def uneven_share(found: Uneven, key: str, confidence: float) -> tuple[float | None, float | None]:
    """Limits of the share of the total variance: F of the part against the rest, with Satterthwaite's df of both."""
    part, part_spread = found.of(key)
    rest_keys = [name for name in found.keys if name not in SUMS.get(key, (key,))]
    weight = np.array([1.0 if name in rest_keys else 0.0 for name in found.keys])
    rest, rest_spread = float(weight @ found.values), float(weight @ found.covariance @ weight)
    if not (part > 0 and rest > 0 and part_spread > 0 and rest_spread > 0):
        return None, None
    df, df_rest = 2 * part**2 / part_spread, 2 * rest**2 / rest_spread
    tail = (1 - confidence) / 2
    ratio = part / rest
    low = ratio / float(fdtri(df, df_rest, 1 - tail))
    high_f = float(fdtri(df, df_rest, tail))
    high = ratio / high_f if high_f > 0 else None
    return low / (1 + low), None if high is None else high / (1 + high)
