"""Has the level drifted by less than one batch alone would show?

Each batch counts with ``weight``, all before it with the rest: z = weight x + (1 - weight) z, from
the centre on. Limits stand ``width`` standard deviations of z from the centre. By default they
open from batch to batch as z's own spread does,

    sd(z_t) = sd sqrt(weight / (2 - weight) (1 - (1 - weight)^(2 t))),

and the width is computed for one false alarm in ``run_length`` batches.

Source: Roberts 1959, Technometrics 1:239; Lucas and Saccucci 1990, Technometrics 32:1.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from analysis.control.baselines import (
    Baseline,
    Floats,
    baselines,
    cautions_of,
    number,
    outside_only,
    phase_numbers,
    positive,
    since,
    together,
)
from analysis.control.drawing import draw
from analysis.control.results import Chart, Limits, Phase, Point
from analysis.control.rules import OUTSIDE, Rule
from analysis.control.run_lengths import check_weight, weighted_run_length, weighted_width
from analysis.errors import TrialDataError

KIND = "weighted mean"
SETTINGS = frozenset({"weight", "width", "run_length", "asymptotic", "centre", "sd"})
WEIGHT = 0.2  # common practice, no source: shifts of about one standard deviation
RUN_LENGTH = 370.0  # as often as three standard deviations call a single batch falsely
CATCHES = (0.5, 1.0, 2.0)  # shifts, in SDs of a batch, whose run length is told


def weighted_means(
    series: object, *, rules: tuple[Rule, ...], phases: tuple[Phase, ...], settings: Mapping[str, object]
) -> tuple[Chart, ...]:
    """The chart of weighted means. A phase starts it anew at its centre.

    Settings: ``weight`` (0.2), ``run_length`` (370) or ``width``, ``asymptotic`` (False), ``centre`` and ``sd``
    where they are known. Raises TrialDataError for a setting that cannot be.
    """
    weight, width, exact = _asked(settings)
    asked, stretches = baselines(series, phases, settings, centre="centre")
    z = [_weighted(of, weight) for of in stretches]
    reach = [_reach(of, weight, width, exact) for of in stretches]
    centre = [np.full(len(of.values), of.centre) for of in stretches]
    bounds = (
        together([c - r for c, r in zip(centre, reach, strict=True)]),
        together(centre),
        together([c + r for c, r in zip(centre, reach, strict=True)]),
    )
    chart = draw(
        KIND,
        asked,
        at=np.arange(len(asked.batches)),
        values=together(z),
        bounds=bounds,
        phase_of=phase_numbers(stretches),
        rules=outside_only(rules),
        limits=_limits(stretches[-1], weight, width, exact, float(z[-1][-1])),
        cautions=cautions_of(stretches[-1], asked),
        more={
            "weight": weight,
            "width": width,
            "asymptotic": not exact,
            "run_length": weighted_run_length(weight, width, exact=exact),
            "catches": {shift: weighted_run_length(weight, width, shift=shift, exact=exact) for shift in CATCHES},
        },
    )
    return (since(chart, _began(chart)),)


def judge_weighted(held: Limits, value: float, *, batch: str) -> tuple[Point, Limits]:
    """One new batch mean, judged from the limits alone: its point, and the limits to keep for the next."""
    if not math.isfinite(value):
        raise TrialDataError(
            f"The mean of batch {batch} is not a number.", where=f"batch {batch}", try_this="leave the batch out"
        )
    numbers = held.numbers
    weight, step = numbers["weight"], numbers["steps"] + 1
    z = weight * value + (1 - weight) * numbers["last"]
    grown = 1.0 if numbers["asymptotic"] else math.sqrt(1 - (1 - weight) ** (2 * step))
    reach = numbers["width"] * held.sd * grown
    alarms = (OUTSIDE,) if abs(z - held.centre) > reach * (1 + 1e-9) else ()
    point = Point(
        batch=batch,
        value=z,
        lower=held.centre - reach,
        centre=held.centre,
        upper=held.centre + reach,
        phase=1,
        alarms=alarms,
    )
    return point, replace(held, numbers={**numbers, "last": z, "steps": step})


def _asked(settings: Mapping[str, object]) -> tuple[float, float, bool]:
    weight = number(settings, "weight")
    weight = WEIGHT if weight is None else weight
    check_weight(weight)
    exact = not settings.get("asymptotic", False)
    width, wanted = positive(settings, "width"), positive(settings, "run_length")
    if width is not None and wanted is not None:
        raise TrialDataError(
            "Width and run length are both given; one follows from the other.",
            where="width",
            try_this="leave one of them out",
        )
    if width is None:
        width = weighted_width(weight, RUN_LENGTH if wanted is None else wanted, exact=exact)
    elif not 0.2 <= width <= 6:
        raise TrialDataError(
            f"Limits {width:g} standard deviations out catch everything or nothing.",
            where="width",
            try_this="give a width from 0.2 to 6; about 2.9 is common",
        )
    return weight, width, exact


def _weighted(of: Baseline, weight: float) -> Floats:
    z, before = np.empty(len(of.values)), of.centre
    for place, value in enumerate(of.values):
        before = weight * value + (1 - weight) * before
        z[place] = before
    return z


def _reach(of: Baseline, weight: float, width: float, exact: bool) -> Floats:
    """How far the limits stand from the centre, batch by batch."""
    settled = width * of.spread * math.sqrt(weight / (2 - weight))
    steps = np.arange(1, len(of.values) + 1)
    return settled * np.sqrt(1 - (1 - weight) ** (2.0 * steps)) if exact else np.full(len(steps), settled)


def _limits(last: Baseline, weight: float, width: float, exact: bool, z: float) -> Limits:
    """The limits where they settle, with what a further batch needs."""
    sd = last.spread * math.sqrt(weight / (2 - weight))
    return replace(
        last.limits,
        lower=last.centre - width * sd,
        centre=last.centre,
        upper=last.centre + width * sd,
        sd=sd,
        numbers={
            "mean": last.centre,
            "spread": last.spread,
            "weight": weight,
            "width": width,
            "asymptotic": float(not exact),
            "last": z,
            "steps": float(len(last.values)),
        },
    )


def _began(chart: Chart) -> dict[str, str]:
    """For each batch the first of those on the same side of the centre without a break."""
    first: dict[str, str] = {}
    begun, side, phase = "", 0, -1
    for point in chart.points:
        here = 1 if point.value > point.centre else -1
        if here != side or point.phase != phase:
            begun, side, phase = point.batch, here, point.phase
        first[point.batch] = begun
    return first
