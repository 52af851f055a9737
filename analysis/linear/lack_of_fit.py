"""Do the treatments miss the surface by more than bakes of one treatment differ?

The residual sum of squares parts into that between treatments (lack of fit) and that between
bakes of one treatment within their blocks (pure error): Box & Draper 1987, Empirical
Model-Building and Response Surfaces, ch. 3.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.linear.distributions import f_tail
from analysis.linear.ground import Ground
from analysis.linear.least_squares import Fit, least_squares
from analysis.linear.mixed_model import MixedModel
from analysis.linear.stratum import Model
from analysis.linear.treatments import treatment_codes
from analysis.results import Check, Verdict

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

ALARM, GRAVE = 0.05, 0.001


def check_lack_of_fit(model: Model, ground: Ground) -> Check | None:
    """None with whole plots; untested where no treatment was baked twice, or the surface has no spare df."""
    if isinstance(model, MixedModel) or len(model.strata) > 1:
        return None
    factors = [variable for variable in model.variables if not variable.block]
    codes, _ = treatment_codes(factors)
    blocks = [variable.columns for variable in model.variables if variable.block]
    return lack_of_fit(
        model.strata[0].fit, codes, np.hstack([np.ones((len(codes), 0)), *blocks]), ground.stretch, of="surface"
    )


def lack_of_fit(fit: Fit, treatments: Integers, fixed: Floats, stretch: Floats | None = None, *, of: str) -> Check:
    """``treatments`` (n,) number what each bake was; ``fixed`` (n, d) are columns taken out beside them,
    ``stretch`` (n,) square roots of weights.

    ``of``: what may not fit, in words.
    """
    dummies = (treatments[:, None] == np.arange(int(treatments.max()) + 1)[None, :]).astype(np.float64)
    if stretch is not None:
        dummies, fixed = dummies * stretch[:, None], fixed * stretch[:, None]
    directions, sizes, _ = np.linalg.svd(np.hstack([dummies, fixed]), full_matrices=False)
    pure = least_squares(directions[:, sizes > 1e-9 * sizes[0]], fit.y)  # blocks may say what treatments say
    df, df_error = fit.df - pure.df, pure.df
    if df < 1 or pure.mean_sq is None or pure.sum_sq <= 1e-20 * max(fit.sum_sq, 1e-300):
        facts: dict[str, object] = {
            "of": of,
            "tested": False,
            "df": max(df, 0),
            "df_error": df_error,
            "f": None,
            "p": None,
        }
        return Check(check="lack of fit", verdict="fine", facts=facts)
    value = max(fit.sum_sq - pure.sum_sq, 0.0) / df / pure.mean_sq
    p = f_tail(value, df, df_error)
    verdict: Verdict = "do not rely" if p < GRAVE else "look here" if p < ALARM else "fine"
    facts = {"of": of, "tested": True, "f": value, "p": p, "df": df, "df_error": df_error}
    return Check(check="lack of fit", verdict=verdict, facts=facts)
