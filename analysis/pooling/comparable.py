"""Which effects do several trials have in common, and what does each trial say of them?

Asked of the fitted models themselves: the mean response at one end of what all trials baked minus
that at the other (or at one level minus another), all else of a trial in its middle and evenly
over its levels. So the same contrast is compared, whatever else each trial changed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.predicting import Predictor, Span
from analysis.questions import Factor
from analysis.results import Analysis, ResponseResult

Floats = NDArray[np.float64]

OVERLAP = 0.25  # of the narrowest range of doses that trials must share to be compared over it
DRAWS = 8000


@dataclass(frozen=True, kw_only=True)
class Estimate:
    trial: str
    value: float
    se: float
    df: float | None


@dataclass(frozen=True, kw_only=True)
class Comparable:
    """One contrast with what each trial says of it. ``why``: why trials are missing, or all are."""

    factor: str
    kind: str
    first: str
    second: str
    unit: str
    estimates: tuple[Estimate, ...]
    per_response: bool = True
    level: str | None = None
    factor_unit: str = ""


def comparables(factor: str, response: str, answers: Sequence[tuple[str, Analysis]]) -> Iterator[Comparable]:
    """The contrasts of one factor on one response. ``answers``: (trial, its analysis), all with both."""
    found = [(trial, _result(analysis, response), _factor(analysis, factor)) for trial, analysis in answers]
    unit = found[0][1].response.unit
    if found[0][2].kind == "category":
        yield from _levels(factor, unit, found)
        return
    one = _amount(factor, unit, found)
    if one is not None:
        yield one
    yield from _best_doses(factor, found)


Found = Sequence[tuple[str, ResponseResult, Factor]]


def _result(analysis: Analysis, response: str) -> ResponseResult:
    return next(one for one in analysis.responses if one.response.name == response)


def _factor(analysis: Analysis, name: str) -> Factor:
    return next(one for one in analysis.question.factors if one.name == name)


def _amount(factor: str, unit: str, found: Found) -> Comparable | None:
    spans = [span for _, result, _ in found if (span := _span(result, factor)) is not None and span.low is not None]
    if len(spans) < 2:
        return None
    low = max(float(span.low or 0.0) for span in spans)
    high = min(float(span.high or 0.0) for span in spans)
    narrowest = min(float(span.high or 0.0) - float(span.low or 0.0) for span in spans)
    together = high - low >= OVERLAP * narrowest > 0
    estimates = []
    for trial, result, _ in found:
        span = _span(result, factor)
        if span is None or span.low is None or span.high is None or span.high <= span.low:
            continue
        ends = (low, high) if together else (span.low, span.high)
        one = _difference(trial, result, factor, ends[1], ends[0])
        if one is not None:
            by = 1.0 if together else ends[1] - ends[0]
            estimates.append(Estimate(trial=trial, value=one.value / by, se=one.se / by, df=one.df))
    dose_unit = found[0][2].unit
    if together:
        return Comparable(
            factor=factor,
            kind="amount",
            first=f"{low:.6g}",
            second=f"{high:.6g}",
            unit=unit,
            estimates=tuple(estimates),
            factor_unit=dose_unit,
        )
    per = f"{unit or 'units'} for 1 {dose_unit or 'more'}"
    return Comparable(
        factor=factor,
        kind="slope",
        first="",
        second="",
        unit=per,
        estimates=tuple(estimates),
        per_response=False,
        factor_unit=dose_unit,
    )


def _levels(factor: str, unit: str, found: Found) -> Iterator[Comparable]:
    """Every level that at least two trials share with the one it is compared with: the reference, else the first."""
    reference = next((f.reference for _, _, f in found if f.reference), None)
    spans = {trial: span for trial, result, _ in found if (span := _span(result, factor)) is not None}
    order = list(dict.fromkeys(level for span in spans.values() for level in span.levels))
    counted = {level: sum(level in span.levels for span in spans.values()) for level in order}
    shared = [level for level in order if counted[level] > 1]
    base = reference if reference in shared else (shared[0] if shared else None)
    for level in shared:
        if base is None or level == base:
            continue
        estimates = [
            one
            for trial, result, _ in found
            if trial in spans and {level, base} <= set(spans[trial].levels)
            if (one := _difference(trial, result, factor, level, base)) is not None
        ]
        yield Comparable(factor=factor, kind="levels", first=level, second=base, unit=unit, estimates=tuple(estimates))


def _best_doses(factor: str, found: Found) -> Iterator[Comparable]:
    """The best dose where curves were followed, for each level that several trials have."""
    seen: dict[str | None, list[Estimate]] = {}
    for trial, result, _ in found:
        part = result.family.dose
        if part is None or part.dose != factor:
            continue
        for curve in part.curves:
            best = curve.optimum
            if best is None:
                continue
            se = best.se
            if not se and best.low is not None and best.high is not None:
                se = (best.high - best.low) / 3.92  # a 95 % interval is about 2 x 1.96 standard errors wide
            if se and np.isfinite(se):
                df = float(result.family.residual.df) if result.family.residual else None
                seen.setdefault(curve.level, []).append(Estimate(trial=trial, value=best.dose, se=float(se), df=df))
    for level, estimates in seen.items():
        yield Comparable(
            factor=factor,
            kind="best dose",
            first="",
            second="",
            unit=found[0][2].unit,
            estimates=tuple(estimates),
            per_response=False,
            level=level,
        )


def _span(result: ResponseResult, factor: str) -> Span | None:
    predictor = result.family.predictor
    return None if predictor is None else predictor.spans.get(factor)


def _difference(
    trial: str, result: ResponseResult, factor: str, first: float | str, second: float | str
) -> Estimate | None:
    """Mean at ``first`` minus mean at ``second``; None where nothing tells the error."""
    predictor = result.family.predictor
    if predictor is None:
        return None
    others = _others(predictor.spans, factor)
    frame = pd.DataFrame([{**row, factor: value} for value in (first, second) for row in others])
    frame = frame[list(predictor.spans)]
    weights = np.concatenate([np.full(len(others), 1 / len(others)), np.full(len(others), -1 / len(others))])
    value = float(weights @ predictor.mean(frame))
    se = _error(predictor, frame, weights)
    if se is None or not np.isfinite([value, se]).all() or not se > 0:
        return None
    return Estimate(trial=trial, value=value, se=se, df=predictor.df)


def _others(spans: Mapping[str, Span], factor: str) -> list[dict[str, Any]]:
    """Amounts in their middle, every combination of levels."""
    sides = []
    for name, span in spans.items():
        if name != factor:
            values: list[Any] = list(span.levels) or [((span.low or 0.0) + (span.high or 0.0)) / 2]
            sides.append([(name, value) for value in values])
    return [dict(row) for row in product(*sides)]


def _error(predictor: Predictor, frame: pd.DataFrame, weights: Floats) -> float | None:
    """Standard error of a contrast: from the model itself where it gives one, else from its draws."""
    covariance = getattr(predictor, "covariance", None)
    if covariance is not None:
        found = covariance(frame)
        return None if found is None else float(np.sqrt(max(weights @ found @ weights, 0.0)))
    drawn = predictor.draws(frame, count=DRAWS, seed=1)
    if drawn is None:
        return None
    sd = float(np.std(drawn @ weights, ddof=1))
    df = predictor.df
    # Draws come from a t, whose scatter is wider than the error by df / (df - 2).
    return sd * float(np.sqrt((df - 2) / df)) if df is not None and df > 2 else sd
