"""Does one acid do what another does, only at another dose?

If the curves are one curve with its dose axis stretched, f_level(dose) = f_reference(ratio × dose),
the ratio says how many doses of the reference one dose of the level is worth. The
stretched model is tested against separate curves by the extra sum of squares; the
interval is a t interval on the logarithm of the ratio.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from analysis.dose_response.anova import Scatter, f_test
from analysis.dose_response.curves import ShapeFit
from analysis.dose_response.fitting import fit_curve
from analysis.dose_response.intervals import t_quantile
from analysis.errors import NotPossible
from analysis.results import Potency

Array = npt.NDArray[np.float64]
_FAR = 100.0  # a ratio beyond this (or its inverse) is not believed


def relative_potency(fit: ShapeFit, reference: int, confidence: float) -> tuple[tuple[Potency, ...], str | None]:
    """A ratio for each other level, or none and why."""
    layout, shape = fit.layout, fit.shape
    if shape.name == "flat":
        return (), "flat curves have no potency"
    if layout.low < 0:
        return (), "negative doses have no ratio"
    others = [i for i in range(len(layout.parts)) if i != reference]

    def mean(_: Array, p: Any) -> Any:
        logs: dict[int, Any] = {reference: 0.0}
        logs.update({level: p[shape.size + k] for k, level in enumerate(others)})
        blocks = p[shape.size + len(others) :]
        out = layout.blocks @ blocks + 0j * layout.y
        for number, part in enumerate(layout.parts):
            stretched = part.doses * np.exp(logs[number])
            out[part.rows] += shape.mean(stretched, p[: shape.size], layout.centre)[part.which]
        return out if np.iscomplexobj(p) else out.real

    base = np.concatenate([fit.inner[reference], np.zeros(len(others)), fit.block_effects])
    guess = base.copy()
    guess[shape.size : shape.size + len(others)] = [_first_guess(fit, reference, level) for level in others]
    try:
        stretched = fit_curve(mean, layout.dose, layout.y, [guess.tolist(), base.tolist()])
    except NotPossible:
        return (), "no common curve could be fitted"
    if stretched.se is None:
        return (), "the common curve does not fix the ratios"
    y = layout.y - layout.y.mean()
    extra = stretched.df - fit.df
    _, p_value = f_test(stretched.rss - fit.rss, extra, Scatter(fit.rss, fit.df), float(y @ y))
    if extra > 0 and (p_value is None or p_value < 1 - confidence):
        return (), "the curves differ by more than a stretch of the dose"
    quantile = t_quantile(confidence, stretched.df)
    out = []
    for k, level in enumerate(others):
        log, se = stretched.parameters[shape.size + k], stretched.se[shape.size + k]
        if not abs(log) + quantile * se < np.log(_FAR):
            return (), "the bakes do not fix the ratio of the doses"
        out.append(
            Potency(
                level=str(layout.parts[level].level),
                relative_to=str(layout.parts[reference].level),
                ratio=float(np.exp(log)),
                low=float(np.exp(log - quantile * se)),
                high=float(np.exp(log + quantile * se)),
            )
        )
    return tuple(out), None


def _first_guess(fit: ShapeFit, reference: int, level: int) -> float:
    """Logarithm of the ratio of the doses that mark the two curves, if both have one."""
    marks = [_mark(fit, i) for i in (reference, level)]
    if marks[0] <= 0 or marks[1] <= 0:
        return 0.0
    return float(np.clip(np.log(marks[0] / marks[1]), -2, 2))


def _mark(fit: ShapeFit, curve: int) -> float:
    named = fit.shape.report(fit.inner[curve], fit.layout.centre)
    for key in ("e", "K", "midpoint", "breakpoint", "best", "rise midpoint"):
        if key in named:
            return float(np.real(named[key]))
    if "curvature" in named and np.real(named["curvature"]) != 0:
        return float(np.real(-named["slope"] / (2 * named["curvature"])))
    slope = float(np.real(named.get("slope", 0.0)))
    return 1 / slope if slope > 0 else 0.0
