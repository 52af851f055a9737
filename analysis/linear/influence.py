"""Which bake moves which effect, and by how much?

What an effect would be without one bake follows from the fit with it: coefficients change by
(X'X)^-1 x e / (1 - h) (Cook & Weisberg 1982, Residuals and Influence in Regression, 2.2).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from analysis.linear.coding import Term
from analysis.linear.distributions import t_quantile
from analysis.linear.means import largest_tetrad
from analysis.linear.stratum import Model
from analysis.results import Check

Floats = NDArray[np.float64]

ALONE = 1e-8  # room a bake must leave for its removal to be worked out
MOST_NAMED = 12
MOST_LEVELS = 12  # categories with more are looked at against their first level only


@dataclass(frozen=True)
class Moved:
    """Without ``bake`` the effect of ``term`` is ``shift`` more than the ``size`` it has with it."""

    bake: str
    term: str
    size: float
    shift: float
    share: float  # of the half width of the effect's interval
    levels: tuple[str, ...] = ()  # the two that are compared, where there are more


def moved_by_each(model: Model, names: Sequence[str], confidence: float) -> list[Moved]:
    """For each bake the effect that it moves most, against that effect's interval; most moved first."""
    stratum = model.strata[0]
    fit = stratum.fit
    if len(model.strata) > 1 or stratum.mean_sq is None or fit.df < 2:
        return []
    room = 1 - fit.leverage
    usable = np.flatnonzero(room > ALONE)
    labels, pairs, rows = _effects(model)
    if not len(rows) or not len(usable):
        return []
    pulls = rows @ fit.inverse @ fit.q.T
    shifts = -pulls[:, usable] * (fit.residuals[usable] / room[usable])
    sizes = rows @ fit.coefficients
    widths = t_quantile(confidence, fit.df) * np.sqrt(fit.variance_factors(rows) * stratum.mean_sq)
    shares = np.abs(shifts) / np.maximum(widths, 1e-300)[:, None]
    found = []
    for at, i in enumerate(usable.tolist()):
        most = int(shares[:, at].argmax())
        found.append(
            Moved(
                names[i],
                labels[most],
                float(sizes[most]),
                float(shifts[most, at]),
                float(shares[most, at]),
                pairs[most],
            )
        )
    return sorted(found, key=lambda moved: -moved.share)


def check_influence(model: Model, names: Sequence[str], confidence: float, matters: float | None) -> Check | None:
    """Does one bake move an effect further than its interval reaches, or than what matters?"""
    found = moved_by_each(model, names, confidence)
    if not found:
        return None
    first = found[0]
    by_matter = [one for one in found if matters and abs(one.shift) >= matters]
    grave = by_matter or [one for one in found if one.share >= 1]
    shown = max(grave, key=lambda one: one.share) if grave else first
    facts = {
        "bake": shown.bake,
        "term": shown.term,
        "levels": shown.levels,
        "size": shown.size,
        "without": shown.size + shown.shift,
        "shift": shown.shift,
        "beyond": "what matters" if by_matter else "the interval" if grave else "",
        "moves": tuple((one.bake, one.term, one.shift, one.share) for one in found[:MOST_NAMED]),
        "bakes": len(found),
    }
    return Check(check="influence", verdict="look here" if grave else "fine", facts=facts)


def _effects(model: Model) -> tuple[list[str], list[tuple[str, ...]], Floats]:
    """Rows (m, columns) of what is said of each factor and each pair of factors, with the names of the terms
    and of the two levels that are compared."""
    labels: list[str] = []
    pairs: list[tuple[str, ...]] = []
    rows: list[Floats] = []
    for term in model.terms:
        if term.block or term.square:
            continue
        for row, levels in _rows_of(model, term):
            labels.append(term.name)
            pairs.append(levels)
            rows.append(row)
    return labels, pairs, np.array(rows)


def _rows_of(model: Model, term: Term) -> list[tuple[Floats, tuple[str, ...]]]:
    if term.order > 2:
        return []
    if term.order == 2:
        return [(largest_tetrad(model, term).row(model), ())]
    position = term.members[0]
    variable = model.variables[position]
    if variable.amount or len(variable.levels) == 2:
        return [(model.row({position: len(variable.levels) - 1}) - model.row({position: 0}), ())]
    each = [(model.row({position: level}), name) for level, name in enumerate(variable.levels)]
    against = [(each[0], one) for one in each[1:]] if len(each) > MOST_LEVELS else combinations(each, 2)
    return [(one[0] - other[0], (one[1], other[1])) for other, one in against]
