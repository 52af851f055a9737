"""Does one acid do what another does, only at another dose?

The ratio says how many doses of the reference one dose of the level is worth. Two models:

- parallel lines over the logarithm of the dose (``parallel_lines``);
- parallel curves: one curve with its dose axis stretched, f_level(dose) = f_reference(ratio x dose),
  tested against separate curves by the extra sum of squares, with a profile interval.

Lines are used when no test refuses them and they describe the bakes about as well (AICc), for
they need no shape. A ratio is withheld when curves are not parallel: it would then be another at
every height.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.dose_response.compare import NEAR, aicc
from analysis.dose_response.curves import ShapeFit
from analysis.dose_response.parallel_lines import Lines, parallel_lines
from analysis.dose_response.results import PotencyPart, TestOfPotency
from analysis.dose_response.stretched import Stretched, stretch
from analysis.dose_results import Potency
from analysis.leavening.neutralising import NEUTRALISING, folded

Array = npt.NDArray[np.float64]
_FAR = 100.0  # a ratio beyond this (or its inverse) is not believed
_FEW = 6  # error df below which a test of parallelism sees next to nothing


@dataclass(frozen=True, kw_only=True)
class Found:
    """Ratios (none when withheld), the part that tells how, and why there is none."""

    ratios: tuple[Potency, ...] = ()
    part: PotencyPart | None = None
    reasons: Mapping[str, str] | None = None


def relative_potency(fit: ShapeFit, reference: int, confidence: float) -> Found:
    """A ratio for each other level, or none and why."""
    layout = fit.layout
    if fit.shape.name == "flat":
        return _none("flat curves have no potency")
    if layout.low < 0:
        return _none("negative doses have no ratio")
    lines = parallel_lines(layout, layout.errors, reference, confidence)
    curves = (
        "a curve without a formula cannot be stretched onto another"
        if fit.shape.free
        else stretch(fit, reference, confidence)
    )
    if lines is not None and _lines_serve(lines, curves, confidence):
        return _answer(fit, reference, confidence, _of_lines(lines))
    if isinstance(curves, str):
        return _none(curves)
    return _answer(fit, reference, confidence, _of_curves(fit, curves))


def predicted_ratios(levels: tuple[str, ...], reference: str) -> dict[str, float | None]:
    """What the neutralising values say: value of the level over that of the reference; None where unknown."""
    known = {level: NEUTRALISING.get(folded(level)) for level in (*levels, reference)}
    base = known[reference]
    out: dict[str, float | None] = {}
    for level in levels:
        own = known[level]
        out[level] = None if own is None or base is None or not base.soda_g > 0 else own.soda_g / base.soda_g
    return out


@dataclass(frozen=True, kw_only=True)
class _Model:
    name: str
    shape: str
    logs: tuple[float, ...]  # natural logarithms of the ratios, one for each level
    ends: tuple[tuple[float, float] | None, ...]
    parallelism: TestOfPotency | None
    linearity: TestOfPotency | None = None
    slope: float | None = None
    g: float | None = None
    sigma: float | None = None
    df: int | None = None
    left_out: int = 0


def _none(why: str) -> Found:
    return Found(reasons={"potency": why})


def _lines_serve(lines: Lines, curves: Stretched | str, confidence: float) -> bool:
    refused = [test for test in (lines.parallelism, lines.linearity) if test is not None and test.p < 1 - confidence]
    if refused and not isinstance(curves, str):
        return False
    if lines.linearity is not None and lines.linearity.p < 1 - confidence:
        return False
    if not lines.g < 1:
        return False
    if isinstance(curves, str) or curves.refused(confidence):
        return True
    if lines.left_out:
        return False  # the curve knows the bakes without any, the lines do not
    tiny = 1e-300
    own = aicc(lines.rss, lines.n, lines.parameters, tiny)
    other = aicc(curves.rss, lines.n, curves.parameters, tiny)
    return own <= other + NEAR


def _of_lines(lines: Lines) -> _Model:
    factor = float(np.log(10.0))
    return _Model(
        name="parallel lines",
        shape="line on log10 dose",
        logs=tuple(float(log) * factor for log in lines.log_ratios),
        ends=tuple(None if end is None else (end[0] * factor, end[1] * factor) for end in lines.ends),
        parallelism=lines.parallelism,
        linearity=lines.linearity,
        slope=lines.slope,
        g=lines.g,
        sigma=lines.sigma,
        df=lines.df,
        left_out=lines.left_out,
    )


def _of_curves(fit: ShapeFit, curves: Stretched) -> _Model:
    return _Model(
        name="parallel curves",
        shape=fit.shape.name,
        logs=curves.logs,
        ends=curves.ends,
        parallelism=curves.parallelism,
        sigma=curves.sigma,
        df=curves.df,
    )


def _answer(fit: ShapeFit, reference: int, confidence: float, model: _Model) -> Found:
    names = [str(part.level) for part in fit.layout.parts]
    others = [i for i in range(len(names)) if i != reference]
    predicted = predicted_ratios(tuple(names[i] for i in others), names[reference])
    reasons: dict[str, str] = {}
    test = model.parallelism
    apart = test is not None and test.p < 1 - confidence
    if apart:
        reasons["potency"] = "the curves differ by more than a stretch of the dose, so that no one ratio holds"
    ratios = [] if apart else _ratios(model, names, others, reference, predicted, reasons)
    if any(value is None for value in predicted.values()):
        reasons["predicted potency"] = "not every level is an ingredient whose neutralising value is known"
    if model.left_out:
        reasons["potency at dose 0"] = f"{model.left_out} bakes without any have no logarithm of the dose and stay out"
    few = test is None or test.df_error < _FEW
    part = PotencyPart(
        reference=names[reference],
        model=model.name,
        shape=model.shape,
        verdict="not parallel" if apart else "not refused" if few else "parallel",
        slope=model.slope,
        ratios={one.level: _in_log10(one) for one in ratios},
        g=model.g,
        sigma=model.sigma,
        df=model.df,
        parallelism=test,
        linearity=model.linearity,
        predicted=predicted,
        reasons=reasons,
    )
    return Found(ratios=tuple(ratios), part=part, reasons=reasons)


def _ratios(
    model: _Model,
    names: list[str],
    others: list[int],
    reference: int,
    predicted: Mapping[str, float | None],
    reasons: dict[str, str],
) -> list[Potency]:
    out = []
    for level in others:
        ends = model.ends[level]
        if ends is None or max(abs(ends[0]), abs(ends[1])) >= np.log(_FAR):
            reasons[f"potency [{names[level]}]"] = reasons["potency"] = "the bakes do not fix the ratio of the doses"
            continue
        low, high = (float(np.exp(end)) for end in ends)
        out.append(
            Potency(
                level=names[level],
                relative_to=names[reference],
                ratio=float(np.exp(model.logs[level])),
                low=low,
                high=high,
                predicted=predicted[names[level]],
            )
        )
    return out


def _in_log10(one: Potency) -> dict[str, float | None]:
    assert one.low is not None
    assert one.high is not None
    logs = {
        "log10": float(np.log10(one.ratio)),
        "log10_low": float(np.log10(one.low)),
        "log10_high": float(np.log10(one.high)),
    }
    return {"ratio": one.ratio, "low": one.low, "high": one.high, **logs}
