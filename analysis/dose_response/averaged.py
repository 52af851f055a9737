"""Which dose is good enough, whichever plausible shape is the true one?

The smallest dose that is good enough and the best dose, each averaged over the shapes by their
AICc weights; the intervals are read off draws of curves from all of them (``draws``). Source of
the averaging: Burnham & Anderson 2002, ch. 4.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analysis.dose_response.best import Drawn
from analysis.dose_response.compare import Ranked
from analysis.dose_response.goals import Aim, smallest_good_enough
from analysis.dose_results import AveragedDose

Array = npt.NDArray[np.float64]
_PLAUSIBLE = 0.005  # of the weight; shapes below it are not drawn from either
_FEWEST = 100  # usable draws


def averaged_doses(
    ranked: tuple[Ranked, ...], drawn: Drawn, aim: Aim, *, confidence: float
) -> tuple[AveragedDose, ...]:
    """One for each curve; none where only one shape is plausible, for it says no more than the shape itself."""
    heavy = [one for one in ranked if one.weight >= _PLAUSIBLE]
    if len(heavy) < 2:
        return ()
    total = sum(one.weight for one in heavy)
    shares = {one.fit.shape.name: one.weight / total for one in heavy}
    weights = np.array(list(shares.values()))
    out = []
    for number, part in enumerate(heavy[0].fit.layout.parts):
        x = np.unique(np.concatenate([np.linspace(part.doses[0], part.doses[-1], 401), part.doses]))
        curves = np.stack([one.fit.mean(number, x) for one in heavy])
        inside = (drawn.doses >= part.doses[0]) & (drawn.doses <= part.doses[-1])
        some = drawn.sets[-1][number][:, inside]
        some = some[np.isfinite(some).all(axis=1)]
        good = _ends(smallest_good_enough(drawn.doses[inside], some, aim), confidence)
        top = _ends(_best(drawn.doses[inside], some, aim), confidence)
        dose = float(weights @ smallest_good_enough(x, curves, aim))
        best = float(weights @ _best(x, curves, aim))
        out.append(
            AveragedDose(
                level=part.level,
                dose=dose,
                low=None if good is None else min(good[0], dose),
                high=None if good is None else max(good[1], dose),
                best=best,
                best_low=None if top is None else min(top[0], best),
                best_high=None if top is None else max(top[1], best),
                shapes=shares,
            )
        )
    return tuple(out)


def _best(doses: Array, curves: Array, aim: Aim) -> Array:
    """Smallest dose at which each curve (m, k) is best: of a plateau, where it starts."""
    worth = aim.worth(curves)
    span = np.ptp(worth, axis=-1, keepdims=True)
    return np.asarray(doses[(worth >= worth.max(axis=-1, keepdims=True) - 1e-9 * span).argmax(axis=-1)])


def _ends(values: Array, confidence: float) -> tuple[float, float] | None:
    if values.size < _FEWEST:
        return None
    low, high = np.quantile(values, [(1 - confidence) / 2, (1 + confidence) / 2])
    return float(low), float(high)
