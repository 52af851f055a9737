"""How much do just these levels differ in score, share or count, and how steep is the trend?

Read like every other chosen contrast (``linear.chosen``). Its size is a weighted sum of expectations, by the
delta method (shares: put together from their limits); its test is Wald's on the model's own scale, where the
same weights give a ratio of odds or counts. A slope is the change between both ends per unit of the amount.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.linear.chosen import Read, read_contrast
from analysis.parts import ChosenContrast
from analysis.scores.comparing import exp, limits_of_sum, settings_of
from analysis.scores.model import Model
from analysis.scores.results import ScoreContrast

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class _Weighed:
    """Settings, each with its weight."""

    weights: Floats
    settings: tuple[Mapping[str, object], ...]


def chosen_contrasts(model: Model) -> tuple[tuple[ChosenContrast, ...], tuple[ScoreContrast, ...]]:
    """Every contrast asked for, over the rest and at each level of what interacts: in scores; on the model's scale.

    Raises TrialDataError for a factor, level or weight that is not there.
    """
    found = [pair for text in model.question.contrasts for pair in _answered(model, text)]
    return tuple(one for one, _ in found), tuple(other for _, other in found)


def _answered(model: Model, text: str) -> Iterator[tuple[ChosenContrast, ScoreContrast]]:
    read = read_contrast(model.layout.variables, text)
    for at in ({}, *_slices(model, read.variable)):
        yield _one(model, read, at)


def _one(model: Model, read: Read, at: Mapping[str, str]) -> tuple[ChosenContrast, ScoreContrast]:
    factor = model.layout.variables[read.variable].name
    weighed = _weighed(model, read, at)
    df = model.df_of(factor)
    row = np.asarray(sum(w * model.link_row(s) for w, s in zip(weighed.weights, weighed.settings, strict=True)))
    link = model.coefficient(read.name, row, df=df)
    grids = [model.cells(settings) for settings in weighed.settings]
    estimates, spread = model.expected.averaged(grids), model.expected.spread(grids)
    size = float(weighed.weights @ estimates)
    # A slope is a difference per unit: its limits are those of the difference, divided.
    scale = float(np.abs(weighed.weights).sum()) / 2
    ends = limits_of_sum(model, weighed.weights / scale, estimates, spread, model.quantile(df))
    low, high = (None if end is None else scale * end for end in ends)
    se = None if spread is None else float(np.sqrt(max(float(weighed.weights @ spread @ weighed.weights), 0.0)))
    named = dict(at)
    ratio = model.data.link == "logit" or model.data.counted
    ratios = (exp(link.estimate), *(None if e is None else exp(e) for e in (link.low, link.high)))
    return (
        ChosenContrast(
            name=read.name, factor=factor, estimate=size, se=se, low=low, high=high, df=df, t=link.t, p=link.p, at=named
        ),
        ScoreContrast(
            name=read.name, factor=factor, at=named, estimate=link.estimate, se=link.se, low=link.low, high=link.high,
            ratio=ratios[0] if ratio else None, ratio_low=ratios[1] if ratio else None,
            ratio_high=ratios[2] if ratio else None, p=link.p,
        ),
    )  # fmt: skip


def _weighed(model: Model, read: Read, at: Mapping[str, str]) -> _Weighed:
    variable = model.layout.variables[read.variable]
    cells = settings_of(variable)
    if read.weights is None:
        width = variable.values[-1] - variable.values[0]
        return _Weighed(
            np.array([1.0, -1.0]) / width, ({**at, variable.name: cells[-1]}, {**at, variable.name: cells[0]})
        )
    used = np.flatnonzero(read.weights)
    return _Weighed(read.weights[used], tuple({**at, variable.name: cells[i]} for i in used))


def _slices(model: Model, position: int) -> Iterator[dict[str, str]]:
    """Each level of each category that the model lets change this variable's effect."""
    for term in model.layout.terms:
        if len(set(term.members)) == 2 and len(term.members) == 2 and position in term.members:
            other = model.layout.variables[next(member for member in term.members if member != position)]
            if not other.amount:
                yield from ({other.name: level} for level in other.levels)
