"""What does a reader see of a fitted curve: points, parameters, means, candidates?"""

from __future__ import annotations

import numpy as np

from analysis.dose_response.compare import Choice
from analysis.dose_response.curves import ShapeFit
from analysis.dose_response.free_shapes import FreeFit
from analysis.dose_response.intervals import parameter_intervals, quantiles
from analysis.dose_response.tails import t_above
from analysis.dose_results import Candidate, Curve, CurvePoint
from analysis.estimates import Coefficient, Mean, Residual
from analysis.results import BakePoint

POINTS = 60
_MOST_MEANS = 12  # doses; beyond that the curve itself says it better


def curve_points(fit: ShapeFit, number: int, confidence: float) -> tuple[CurvePoint, ...]:
    """The curve of the average block over its own doses, with the band of its mean."""
    doses = fit.layout.parts[number].doses
    x = np.linspace(doses[0], doses[-1], POINTS)
    mean = fit.mean(number, x)
    rows = fit.rows(number, x)
    reach = quantiles(fit, rows, confidence) * np.sqrt(fit.variance_of(rows))
    own = fit.band(number, x, confidence) if isinstance(fit, FreeFit) else None
    if own is not None:
        return tuple(
            CurvePoint(dose=float(d), mean=float(m), low=float(a), high=float(b))
            for d, m, a, b in zip(x, mean, *own, strict=True)
        )
    return tuple(
        CurvePoint(dose=float(d), mean=float(m), low=float(m - r), high=float(m + r))
        for d, m, r in zip(x, mean, reach, strict=True)
    )


def candidates(choice: Choice, confidence: float) -> tuple[Candidate, ...]:
    """All shapes on offer, best first; with several curves a parameter is named "name [level]"."""
    out = []
    for one in choice.ranked:
        named = {}
        for number, part in enumerate(one.fit.layout.parts):
            suffix = f" [{part.level}]" if part.level is not None else ""
            values = parameter_intervals(one.fit, number, confidence, profiled=False)
            named.update({f"{name}{suffix}": value for name, value in values.items()})
        fit = one.fit
        out.append(
            Candidate(shape=fit.shape.name, aicc=one.aicc, weight=one.weight, parameters=named, rss=fit.rss, df=fit.df)
        )
    return tuple(out)


def coefficients(fit: ShapeFit, curves: tuple[Curve, ...]) -> tuple[Coefficient, ...]:
    """The chosen shape's parameters as a table; t and p test them against 0."""
    out = []
    for curve in curves:
        suffix = f" [{curve.level}]" if curve.level is not None else ""
        for name, value in curve.parameters.items():
            t = value.estimate / value.se if value.se else None
            out.append(
                Coefficient(
                    term=f"{name}{suffix}",
                    estimate=value.estimate,
                    se=value.se,
                    low=value.low,
                    high=value.high,
                    df=float(fit.df),
                    t=t if t is not None and np.isfinite(t) else None,
                    p=2 * t_above(abs(t), fit.df) if t is not None and np.isfinite(t) else None,
                )
            )
    return tuple(out)


def means(fit: ShapeFit, confidence: float) -> tuple[Mean, ...]:
    """Fitted means at the baked doses (of each level, sliced by dose), for ladders of up to twelve."""
    layout = fit.layout
    if layout.doses.size > _MOST_MEANS:
        return ()
    out = []
    for number, part in enumerate(layout.parts):
        values, rows = fit.mean(number, part.doses), fit.rows(number, part.doses)
        ses, dfs, reach = np.sqrt(fit.variance_of(rows)), fit.df_of(rows), quantiles(fit, rows, confidence)
        for dose, mean, se, df, quantile in zip(part.doses, values, ses, dfs, reach, strict=True):
            step = f"{float(dose):g}"
            split = layout.by_name is not None and part.level is not None
            out.append(
                Mean(
                    factor=str(layout.by_name) if split else layout.dose_name,
                    level=str(part.level) if split else step,
                    mean=float(mean),
                    se=float(se),
                    low=float(mean - quantile * se),
                    high=float(mean + quantile * se),
                    df=float(df),
                    at={layout.dose_name: step} if split else {},
                )
            )
    return tuple(out)


def bake_points(fit: ShapeFit) -> tuple[BakePoint, ...]:
    """Each bake with what the curve and its block foretold."""
    layout, fitted = fit.layout, fit.shifted
    settings: list[dict[str, float | str]] = [{layout.dose_name: float(d)} for d in layout.dose]
    if layout.by_name is not None:
        for row, code in enumerate(layout.level_code):
            settings[row][layout.by_name] = str(layout.parts[code].level)
    return tuple(
        BakePoint(
            bake=layout.bakes[i],
            order=layout.order[i],
            settings=settings[i],
            block=layout.block_labels[i],
            observed=float(layout.y[i]),
            fitted=float(fitted[i]),
            residual=float(layout.y[i] - fitted[i]),
            readings=layout.readings[i],
        )
        for i in range(layout.n)
    )


def curve_residual(fit: ShapeFit) -> Residual:
    """The scatter around the curve, on which its intervals rest."""
    y = fit.layout.y
    total = float(((y - y.mean()) ** 2).sum())
    left = fit.rss if fit.layout.errors is None else float(((y - fit.shifted) ** 2).sum())
    return Residual(
        df=fit.df,
        sum_sq=fit.variance * fit.df,
        mean_sq=fit.variance,
        sd=float(np.sqrt(fit.variance)),
        r_squared=1 - left / total if total > 0 else None,
    )
