"""Are there more faults than this process always has: split crusts, blisters, spots?

Shares of pieces (each is or is not), counts on areas that are all alike, rates on areas that are not.
Limits stand three standard deviations of pure chance (binomial, Poisson) from the mean, for each
batch by its own size, with two departures that the chart names:

* Batches that surely scatter by more than chance (their flour or oven differs, every day) get limits
  widened by that factor, from the moving ranges of the standardised points (Laney 2002, Quality
  Engineering 14:531).
* Where few are expected and the lower limit would fall below nothing, symmetric limits call too
  many batches falsely; then the limits are the counts beyond which chance goes in at most 0.135 % of
  batches to either side, as three standard deviations do. Runs on one side are then not judged: most
  counts lie below their mean.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.control.baselines import outside_only
from analysis.control.chance import (
    COUNT,
    PIECES,
    Bounds,
    Floats,
    chance_sd,
    check_count,
    check_counts,
    exact_bounds,
    kind_of,
    scatter_of,
    sureness_of_scatter,
)
from analysis.control.constants import SIGMAS
from analysis.control.drawing import draw, none_for_nan
from analysis.control.limits import FEW
from analysis.control.results import Chart, CountSeries, Limits, Phase, Point
from analysis.control.rules import OUTSIDE, Rule, way_out
from analysis.errors import NotPossible, TrialDataError

SETTINGS = frozenset({"spread", "limits"})
SPREADS = ("auto", "chance", "widened")
FORMS = ("auto", "symmetric", "exact")
FEW_EXPECTED = 5.0  # counts in a batch below which symmetric limits are far off; common practice, no source
SURE = 1.645  # one-sided 95 %: scatter beyond chance is named so in one series of twenty by chance
SURER = 2.326  # one-sided 99 %: wider limits hide faults, so they widen by themselves only on better grounds


@dataclass(frozen=True, kw_only=True)
class Ground:
    """What chance does in one stretch: mean ``rate`` for a size of 1, scatter ``factor`` times that of chance."""

    phase: int
    start: int
    stop: int
    rate: float
    factor: float
    exact: bool
    limits: Limits
    scatter: float | None = None  # as the stretch itself shows it; None for few batches


def counts(
    series: object, *, rules: tuple[Rule, ...], phases: tuple[Phase, ...], settings: Mapping[str, object]
) -> tuple[Chart, ...]:
    """The chart of shares ("pieces"), of counts ("places" on equal sizes) or of rates ("places" on unequal ones).

    Settings: ``spread`` auto, chance (never widened) or widened; ``limits`` auto, symmetric or exact.
    Raises TrialDataError for counts that are not whole or settings that cannot be.
    """
    asked = check_counts(series)
    spread, form = _choice(settings, "spread", SPREADS), _choice(settings, "limits", FORMS)
    kind = kind_of(asked)
    x, n = np.array(asked.counts, dtype=float), np.array(asked.sizes, dtype=float)
    grounds = _grounds(asked, x, n, phases, spread, form)
    bounds = [_bounds(of, asked.of, n[of.start : of.stop]) for of in grounds]
    scale = n if kind == COUNT else np.ones(len(n))
    last = grounds[-1]
    chart = draw(
        kind,
        asked,
        at=np.arange(len(x)),
        values=x / n * scale,
        bounds=_joined(bounds, scale),
        phase_of=np.concatenate([np.full(of.stop - of.start, of.phase) for of in grounds]),
        rules=outside_only(rules) if any(of.exact for of in grounds) else rules,
        limits=_scaled(last.limits, float(scale[-1])),
        cautions=_cautions(last),
        more={"sizes": asked.sizes, "scatter": last.scatter, "factor": last.factor},
    )
    return (chart,)


def judge_count(held: Limits, count: float, size: float, *, of: str, batch: str) -> Point:
    """One new batch, judged from frozen limits alone, by its own size, on the scale of those limits."""
    check_count(count, size, of=of, batch=batch)
    ground = _frozen(Phase(number=1, from_batch=batch, limits=held), 0, 1)
    scale = held.centre / ground.rate if ground.rate > 0 else 1.0  # a chart of counts stands in counts, not rates
    lower, centre, upper = (bound * scale for bound in _bounds(ground, of, np.array([float(size)])))
    value = np.array([count / size * scale])
    out = abs(way_out(value, lower=lower, centre=centre, upper=upper)[0]) > 3 * (1 + 1e-9)
    return Point(
        batch=batch,
        value=float(value[0]),
        lower=none_for_nan(lower[0]),
        centre=float(centre[0]),
        upper=none_for_nan(upper[0]),
        phase=1,
        alarms=(OUTSIDE,) if out else (),
    )


def _grounds(
    series: CountSeries, x: Floats, n: Floats, phases: Sequence[Phase], spread: str, form: str
) -> tuple[Ground, ...]:
    if not phases:
        return (_own(series, x, n, 1, 0, len(x), spread, form),)
    starts = [series.batches.index(phase.from_batch) for phase in phases]
    stops = [*starts[1:], len(x)]
    grounds = [_frozen(phase, a, b) for phase, a, b in zip(phases, starts, stops, strict=True)]
    before = [_own(series, x, n, 0, 0, starts[0], spread, form)] if starts[0] else []
    return (*before, *grounds)


def _own(
    series: CountSeries, x: Floats, n: Floats, phase: int, start: int, stop: int, spread: str, form: str
) -> Ground:
    """The limits of a stretch from itself."""
    own, sizes = x[start:stop], n[start:stop]
    if len(own) < 2:
        raise NotPossible(
            f"One batch of {series.response} says nothing about the next; limits need two, good ones {FEW}.",
            where=f"batch {series.batches[start]}",
            try_this="log more batches, or freeze limits that are known",
        )
    rate = float(own.sum() / sizes.sum())
    usual = float(np.median(sizes))
    scatter = scatter_of(own, sizes, rate, series.of)
    far = scatter is not None and scatter > 1 + SURER * sureness_of_scatter(len(own))
    widened = scatter is not None and (spread == "widened" or (spread == "auto" and far))
    factor = max(scatter, 1.0) if widened and scatter is not None else 1.0
    below = rate - SIGMAS * chance_sd(rate, np.array([usual]), series.of)[0] < 0
    few = rate > 0 and below and usual * rate < FEW_EXPECTED and factor == 1
    exact = form == "exact" or (form == "auto" and bool(few))
    by = "binomial" if series.of == PIECES else "Poisson"
    limits = Limits(
        lower=None,
        centre=rate,
        upper=None,
        sd=float(chance_sd(rate, np.array([usual]), series.of)[0]) * factor,
        method=f"{by}, exact" if exact else f"{by}, widened" if factor > 1 else by,
        batches=len(own),
        first_batch=series.batches[start],
        last_batch=series.batches[stop - 1],
        provisional=len(own) < FEW,
        numbers={"rate": rate, "factor": factor, "exact": float(exact), "size": usual},
    )
    bare = Ground(
        phase=phase,
        start=start,
        stop=stop,
        rate=rate,
        factor=factor,
        exact=exact,
        limits=limits,
        scatter=scatter,
    )
    lower, _, upper = _bounds(bare, series.of, np.array([usual]))
    return replace(bare, limits=replace(limits, lower=none_for_nan(lower[0]), upper=none_for_nan(upper[0])))


def _frozen(phase: Phase, start: int, stop: int) -> Ground:
    numbers = phase.limits.numbers
    return Ground(
        phase=phase.number,
        start=start,
        stop=stop,
        rate=numbers.get("rate", phase.limits.centre),
        factor=numbers.get("factor", 1.0),
        exact=bool(numbers.get("exact", 0.0)),
        limits=phase.limits,
    )


def _bounds(of: Ground, counted: str, n: Floats) -> Bounds:
    """Limits of the rate for batches of these sizes; NaN where there is none."""
    centre = np.full(n.shape, of.rate)
    sd = chance_sd(of.rate, n, counted) * of.factor
    if not sd.all():  # none counted yet, or every piece
        return np.full(n.shape, np.nan), centre, np.full(n.shape, np.nan)
    if of.exact:
        return exact_bounds(of.rate, n, counted)
    lower, upper = centre - SIGMAS * sd, centre + SIGMAS * sd
    if counted == PIECES:
        upper = np.where(upper >= 1, np.nan, upper)
    return np.where(lower <= 0, np.nan, lower), centre, upper


def _joined(bounds: Sequence[Bounds], scale: Floats) -> Bounds:
    lower, centre, upper = (np.concatenate([bound[side] for bound in bounds]) * scale for side in range(3))
    return lower, centre, upper


def _scaled(limits: Limits, scale: float) -> Limits:
    """Limits of a chart of counts, from those of a rate."""
    if scale == 1:
        return limits
    return replace(
        limits,
        lower=None if limits.lower is None else limits.lower * scale,
        centre=limits.centre * scale,
        upper=None if limits.upper is None else limits.upper * scale,
        sd=limits.sd * scale,
    )


def _cautions(last: Ground) -> tuple[str, ...]:
    found = ["few batches"] if last.limits.provisional else []
    if last.limits.sd == 0:
        return (*found, "none counted" if last.rate == 0 else "constant")
    if last.factor > 1:
        found.append("more scatter than chance")
    elif last.scatter is not None:
        away = SURE * sureness_of_scatter(last.limits.batches)
        if last.scatter > 1 + away:
            found.append("more scatter than chance, not widened")
        if last.scatter < 1 - away:
            found.append("less scatter than chance")
    if last.exact:
        found.append("exact limits")
    return tuple(found)


def _choice(settings: Mapping[str, object], name: str, known: tuple[str, ...]) -> str:
    given = settings.get(name, known[0])
    if given not in known:
        raise TrialDataError(f'"{given}" is no way to set {name}.', where=name, try_this=f"one of {', '.join(known)}")
    return str(given)
