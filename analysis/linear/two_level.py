"""Which effects of a two-level design stand out?

An effect is the mean at high less the mean at low. Without an error to judge it,
Lenth's pseudo standard error takes the small effects as the noise: Lenth 1989,
Technometrics 31:469, with t on m/3 degrees of freedom for m effects.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.estimates import Effect
from analysis.linear.coding import Term
from analysis.linear.distributions import half_normal_quantile, t_quantile
from analysis.linear.mixed_model import MixedModel
from analysis.linear.stratum import Contrast, Model

Floats = NDArray[np.float64]

FEWEST_EFFECTS = 3


@dataclass(frozen=True)
class Lenth:
    """Pseudo standard error, margin of error (one effect) and simultaneous margin (all of them)."""

    pse: float
    margin: float
    simultaneous_margin: float
    df: float


def lenth(effects: Sequence[float], confidence: float = 0.95) -> Lenth | None:
    """None with fewer than three effects, or when more than half of them are exactly zero."""
    sizes = np.abs(np.asarray(effects, dtype=np.float64))
    count = len(sizes)
    if count < FEWEST_EFFECTS:
        return None
    first = 1.5 * float(np.median(sizes))
    if first <= 1e-12 * float(sizes.max()):
        return None
    pse = 1.5 * float(np.median(sizes[sizes < 2.5 * first]))
    if pse <= 1e-12 * float(sizes.max()):
        return None
    df = count / 3
    return Lenth(
        pse=pse,
        margin=t_quantile(confidence, df) * pse,
        simultaneous_margin=t_quantile(confidence ** (1 / count), df) * pse,
        df=df,
    )


def half_normal(effects: Sequence[float]) -> list[tuple[int, float, float]]:
    """(position, |effect|, quantile) from the smallest on; quantiles at (i - 0.5) / m."""
    sizes = np.abs(np.asarray(effects, dtype=np.float64))
    order = np.argsort(sizes, kind="stable")
    quantiles = half_normal_quantile((np.arange(len(sizes)) + 0.5) / max(len(sizes), 1))
    return [(int(i), float(sizes[i]), float(quantile)) for i, quantile in zip(order, quantiles, strict=True)]


def factor_terms(model: Model) -> list[Term]:
    return [term for term in model.terms if not term.block]


def effect_contrast(model: Model, term: Term) -> Contrast:
    """Twice the coefficient of a column of -1 and +1."""
    return model.contrast(model.only(term, np.array([2.0])))


def pseudo_error(model: Model, confidence: float) -> Lenth | None:
    """Lenth's error when there is one stratum, without error df, and all effects weigh the same."""
    terms = factor_terms(model)
    if isinstance(model, MixedModel) or len(model.strata) > 1 or model.strata[0].fit.df > 0 or not _alike(model, terms):
        return None
    return lenth([effect_contrast(model, term).estimate for term in terms], confidence)


def _alike(model: Model, terms: Sequence[Term]) -> bool:
    """Are the effects' columns orthogonal and equally long, so that their errors are alike?"""
    stratum = model.strata[0]
    columns = np.hstack([stratum.fit.x[:, stratum.spans[term]] for term in terms])
    products = columns.T @ columns
    return bool(np.abs(products - len(columns) * np.eye(len(products))).max() < 1e-9 * len(columns))


def effects(model: Model, confidence: float, error: Lenth | None) -> list[Effect]:
    """Every effect with its interval: Lenth's margin if ``error``, else t from its stratum."""
    found = []
    for term in factor_terms(model):
        contrast = effect_contrast(model, term)
        low, high = contrast.within(error.margin) if error else contrast.interval(confidence)
        found.append(
            Effect(
                term=term.name,
                effect=contrast.estimate,
                low=low,
                high=high,
                pse=error.pse if error else None,
                margin=error.margin if error else None,
                simultaneous_margin=error.simultaneous_margin if error else None,
            )
        )
    return found
