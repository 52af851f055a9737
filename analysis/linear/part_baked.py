"""Does one effect depend on the other, as far as the combinations that were baked can tell?

An interaction with combinations that nobody baked is not fitted: no mean of a level could then be told. What
the other combinations say of it is tested all the same, against the error of the model that holds it: the
columns of the interaction that the fitted terms leave room for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis.estimates import Test
from analysis.linear.coding import Term, term_columns, term_width
from analysis.linear.distributions import f_tail
from analysis.linear.ground import Ground
from analysis.linear.joint import error_of
from analysis.linear.mixed_model import MixedModel
from analysis.linear.selection import Selection
from analysis.linear.stratum import Model
from analysis.linear.unequal import UnequalModel
from analysis.results import Check

Floats = NDArray[np.float64]

FEWEST_DF = 3  # error df that must be left to judge by
MOST_COLUMNS = 60
ROOM = 1e-8  # share of a column that must be new
DEPENDS, FINE = 0.01, 0.05  # p below which the effects depend on each other for sure, or may


def part_baked(model: Model, selection: Selection, ground: Ground) -> list[Test]:
    """One line for each pair of factors with empty cells; () where too little is left to judge by."""
    terms = [term for term in selection.empty if term.order == 2]
    width = sum(term_width(model.variables, term) for term in terms)
    if not terms or len(model.strata) > 1 or isinstance(model, UnequalModel) or width > MOST_COLUMNS:
        return []
    stratum = model.strata[0]
    if stratum.mean_sq is None:
        return []
    columns = {term: ground.place(term_columns(model.variables, term))[1] for term in terms}
    new = _room(stratum.fit.x, list(columns.values()))
    if not new.shape[1] or stratum.fit.df - new.shape[1] < FEWEST_DF:
        return []
    found = [_test(model, term, terms, columns, new.shape[1]) for term in terms]
    return [line for line in found if line is not None]


def _test(model: Model, term: Term, terms: Sequence[Term], columns: dict[Term, Floats], width: int) -> Test | None:
    """``term`` after all fitted terms and the others that were baked in part."""
    x = model.strata[0].fit.x
    others = _room(x, [columns[other] for other in terms if other != term])
    own = _room(np.hstack([x, others]), [columns[term]])
    if not own.shape[1]:
        return None
    if isinstance(model, MixedModel):
        return _mixed(model, term, others, own, error_of(columns[term], model.groups))
    fit = model.strata[0].fit
    along = own.T @ fit.residuals
    beside = others.T @ fit.residuals
    df, df_error = own.shape[1], fit.df - width
    sum_sq = float(along @ along)
    error = float(fit.residuals @ fit.residuals - beside @ beside - along @ along)
    if not error > 0:
        return None
    value = sum_sq / df / (error / df_error)
    return Test(
        term=term.name,
        df=df,
        sum_sq=sum_sq,
        mean_sq=sum_sq / df,
        df_error=float(df_error),
        value=value,
        p=f_tail(value, df, df_error),
        stratum=model.strata[0].name,
    )


def _mixed(model: MixedModel, term: Term, others: Floats, own: Floats, error: str) -> Test | None:
    found = model.added(own, beside=others)
    if found is None:
        return None
    value, df, df_error, p, sigma2 = found
    return Test(
        term=term.name,
        df=df,
        sum_sq=value * sigma2 * df,
        mean_sq=value * sigma2,
        df_error=df_error,
        value=value,
        p=p,
        stratum=error,
    )


def _room(x: Floats, blocks: Sequence[Floats]) -> Floats:
    """Orthonormal columns (n, r) of what ``blocks`` add to ``x``."""
    if not blocks:
        return np.zeros((len(x), 0))
    added = np.hstack(list(blocks))
    scale = np.linalg.norm(added, axis=0)
    added = added[:, scale > 0] / scale[scale > 0]
    basis = np.linalg.qr(x)[0]
    for _ in range(2):  # twice, or rounding stays
        added = added - basis @ (basis.T @ added)
    left, sizes, _ = np.linalg.svd(added, full_matrices=False)
    return np.asarray(left[:, sizes > ROOM])


def told(lines: Sequence[Test], checks: Sequence[Check]) -> list[Check]:
    """The checks of empty cells with what was found of the combinations that were baked."""
    by_term = {line.term: line for line in lines}
    found = []
    for check in checks:
        line = by_term.get(str(check.facts.get("term"))) if check.check == "empty cells" else None
        if line is None or line.p is None:
            found.append(check)
            continue
        facts = {**check.facts, "p": line.p, "depends": line.p < DEPENDS, "may": line.p < FINE}
        found.append(replace(check, facts=facts, verdict="do not rely" if line.p < DEPENDS else check.verdict))
    return found
