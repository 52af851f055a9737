"""Do the treatments miss the surface by more than bakes of one treatment differ?

The residual sum of squares parts into that between treatments (lack of fit) and that between
bakes of one treatment within their blocks (pure error): Box & Draper 1987, Empirical
Model-Building and Response Surfaces, ch. 3.
"""

from __future__ import annotations

import numpy as np

from analysis.linear.distributions import f_tail
from analysis.linear.ground import Ground
from analysis.linear.least_squares import least_squares
from analysis.linear.stratum import Model
from analysis.linear.treatments import treatment_codes
from analysis.results import Check, Verdict

ALARM, GRAVE = 0.05, 0.001


def check_lack_of_fit(model: Model, ground: Ground) -> Check | None:
    """None with whole plots; untested where no treatment was baked twice, or the surface has no spare df."""
    if len(model.strata) > 1:
        return None
    fit = model.strata[0].fit
    factors = [variable for variable in model.variables if not variable.block]
    codes, counts = treatment_codes(factors)
    dummies = (codes[:, None] == np.arange(len(counts))[None, :]).astype(np.float64)
    blocks = [variable.columns for variable in model.variables if variable.block]
    wide = np.hstack([dummies, *blocks])
    _, r = np.linalg.qr(wide)
    rank = int(np.sum(np.abs(np.diag(r)) > 1e-9 * np.abs(r).max()))
    kept = wide[:, np.abs(np.diag(r)) > 1e-9 * np.abs(r).max()]
    pure = least_squares(kept, ground.readings()[0])
    df, df_error = fit.df - (len(fit.y) - rank), len(fit.y) - rank
    if df < 1 or df_error < 1 or pure.mean_sq is None or pure.sum_sq <= 1e-20 * max(fit.sum_sq, 1e-300):
        facts: dict[str, object] = {"tested": False, "df": max(df, 0), "df_error": df_error, "f": None, "p": None}
        return Check(check="lack of fit", verdict="fine", facts=facts)
    value = max(fit.sum_sq - pure.sum_sq, 0.0) / df / pure.mean_sq
    p = f_tail(value, df, df_error)
    verdict: Verdict = "do not rely" if p < GRAVE else "look here" if p < ALARM else "fine"
    facts = {"tested": True, "f": value, "p": p, "df": df, "df_error": df_error}
    return Check(check="lack of fit", verdict=verdict, facts=facts)
