"""Which chart does a response get whose batches take after one another?

Residuals or widened limits, whichever keeps its promise of false alarms better (``dependence`` says why);
the chart names the way it took and what plain limits would have cost.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from analysis.control.baselines import Baseline, Floats, baselines, number, outside_only, phase_numbers
from analysis.control.constants import SIGMAS
from analysis.control.dependence import FEWEST, STRONGEST, Dependence, dependence_of, false_alarms
from analysis.control.drawing import draw
from analysis.control.limits import mean_moving_range
from analysis.control.results import BatchSeries, Chart, Limits, Phase
from analysis.control.rules import Rule
from analysis.errors import NotPossible, TrialDataError

SETTINGS = frozenset({"by", "lag1"})
WAYS = ("auto", "residuals", "widened")
RESIDUALS, WIDENED = "residuals from the batch before", "moving ranges, widened"


def dependent_levels(
    series: object, *, rules: tuple[Rule, ...], phases: tuple[Phase, ...], settings: Mapping[str, object]
) -> tuple[Chart, ...]:
    """One chart of single levels. Settings: ``by`` auto, residuals or widened; ``lag1`` where it is known.

    Raises NotPossible for fewer than 12 batches without a known ``lag1``.
    """
    by = str(settings.get("by", "auto"))
    if by not in WAYS:
        raise TrialDataError(f'"{by}" is no way.', where="by", try_this=f"one of {', '.join(WAYS)}")
    known = _known(settings)
    asked, stretches = baselines(series, phases, {}, centre="")
    last = stretches[-1]
    found = dependence_of(last.values)
    lag1 = _lag1(last, known, found, asked)
    rates = false_alarms(lag1, len(last.values))
    frozen = {"residual": "residuals", "wide": "widened"}
    held = [way for name, way in frozen.items() if name in last.limits.numbers]
    way = by if by != "auto" else held[0] if held else rates.best()
    make = _residuals if way == "residuals" else _widened
    chart = make(asked, stretches, lag1, rules)
    more = {
        "lag1": lag1,
        "lag1_low": found.low,
        "lag1_high": found.high,
        "by": way,
        "false_alarms": {
            "plain": rates.plain,
            "residuals": rates.residuals,
            "widened": rates.widened,
            "independent": rates.independent,
        },
    }
    few = ("few batches",) if last.limits.provisional else ()
    needed = known is not None or found.seen or "lag1" in last.limits.numbers
    cautions = (*few, "dependent" if needed else "dependence not seen")
    return (replace(chart, cautions=cautions, more={**chart.more, **more}),)


def _known(settings: Mapping[str, object]) -> float | None:
    lag1 = number(settings, "lag1")
    if lag1 is not None and abs(lag1) > STRONGEST:
        raise TrialDataError(
            f"A correlation of {lag1:g} with the batch before leaves nothing stable to chart.",
            where="lag1",
            try_this=f"give one from -{STRONGEST:g} to {STRONGEST:g}",
        )
    return lag1


def _lag1(last: Baseline, known: float | None, found: Dependence, series: BatchSeries) -> float:
    if known is not None:
        return known
    if "lag1" in last.limits.numbers:
        return last.limits.numbers["lag1"]
    if found.verdict == "too few":
        raise NotPossible(
            f"{found.batches} batches do not tell how alike neighbours are; {FEWEST} do.",
            where=series.response,
            try_this="log more batches, or give the correlation (lag1) that is known",
        )
    return found.lag1


def _residuals(series: BatchSeries, stretches: tuple[Baseline, ...], lag1: float, rules: tuple[Rule, ...]) -> Chart:
    """What each batch differs from what the one before foretold, in its unit; the very first has no point."""
    whole = np.concatenate([of.values for of in stretches])
    centres = np.concatenate([np.full(len(of.values), of.centre) for of in stretches])
    foretold = centres[1:] + lag1 * (whole[:-1] - centres[1:])
    residuals = whole[1:] - foretold
    sds = [_residual_sd(of, residuals) for of in stretches]
    reach = SIGMAS * np.concatenate([np.full(len(of.values), sd) for of, sd in zip(stretches, sds, strict=True)])[1:]
    return draw(
        "individuals",
        series,
        at=np.arange(1, len(whole)),
        values=residuals,
        bounds=(-reach, np.zeros(len(reach)), reach),
        phase_of=phase_numbers(stretches)[1:],
        rules=rules,
        limits=_limits(stretches[-1], RESIDUALS, 0.0, sds[-1], {"lag1": lag1, "residual": sds[-1]}),
    )


def _residual_sd(of: Baseline, residuals: Floats) -> float:
    """Of one stretch: as frozen, else from the moving ranges of its residuals."""
    frozen = of.limits.numbers.get("residual")
    if frozen is not None:
        return frozen
    own = residuals[max(of.start - 1, 0) : of.stop - 1]
    return mean_moving_range(own) if len(own) > 1 else of.spread


def _widened(series: BatchSeries, stretches: tuple[Baseline, ...], lag1: float, rules: tuple[Rule, ...]) -> Chart:
    """The levels themselves; moving ranges see sd sqrt(1 - lag1) of their spread. Runs are natural here."""
    wide = [of.limits.numbers.get("wide", of.spread / math.sqrt(1 - lag1)) for of in stretches]
    centre = np.concatenate([np.full(len(of.values), of.centre) for of in stretches])
    reach = SIGMAS * np.concatenate([np.full(len(of.values), sd) for of, sd in zip(stretches, wide, strict=True)])
    return draw(
        "individuals",
        series,
        at=np.arange(len(centre)),
        values=np.concatenate([of.values for of in stretches]),
        bounds=(centre - reach, centre, centre + reach),
        phase_of=phase_numbers(stretches),
        rules=outside_only(rules),
        limits=_limits(stretches[-1], WIDENED, stretches[-1].centre, wide[-1], {"lag1": lag1, "wide": wide[-1]}),
    )


def _limits(last: Baseline, method: str, centre: float, sd: float, numbers: Mapping[str, float]) -> Limits:
    return replace(
        last.limits,
        lower=centre - SIGMAS * sd,
        centre=centre,
        upper=centre + SIGMAS * sd,
        sd=sd,
        method=method,
        numbers={"mean": last.centre, "spread": last.spread, **numbers},
    )
