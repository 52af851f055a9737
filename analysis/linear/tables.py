"""The tables of an answer: tests, error, means, comparisons, bakes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.estimates import Comparison, Mean, Residual, Test
from analysis.linear.comparisons import Pair, as_comparisons, compare, shown_pairs, slice_letters
from analysis.linear.means import Slice, estimated_means, slices
from analysis.linear.mixed_model import MixedModel
from analysis.linear.residual_checks import bakes_stratum
from analysis.linear.squares import SquaresType, tests
from analysis.linear.stratum import Model
from analysis.questions import Adjust, Question
from analysis.results import BakePoint

Floats = NDArray[np.float64]

FORETOLD = 1e-9  # what a bake must leave to the others to be foretold by them


def all_tests(model: Model, kind: SquaresType) -> list[Test]:
    """Tests of every stratum, in the order of the model's terms."""
    if isinstance(model, MixedModel):
        return model.tests(kind)
    found = {
        term: line for stratum in model.strata for term, line in zip(stratum.terms, tests(stratum, kind), strict=True)
    }
    return [found[term] for term in model.terms]


def residual(model: Model, raw: Floats, fitted: Floats) -> Residual:
    """The error between bakes (within whole plots, when there are any)."""
    stratum = bakes_stratum(model)
    mean_sq = stratum.mean_sq if isinstance(model, MixedModel) else stratum.fit.mean_sq
    left = raw - (model.mixed.fitted + model.offset if isinstance(model, MixedModel) else fitted)
    around = raw - raw[0]
    total = float(((around - around.mean()) ** 2).sum())
    press = _press(model)
    return Residual(
        df=stratum.fit.df,
        sum_sq=_squares_left(model) if mean_sq is not None else 0.0,
        mean_sq=mean_sq,
        sd=None if mean_sq is None else float(np.sqrt(mean_sq)),
        r_squared=None if mean_sq is None or total <= 0 else max(0.0, 1 - float(left @ left) / total),
        press=press,
        r_squared_foretold=None if press is None or total <= 0 else 1 - press / total,
    )


def _squares_left(model: Model) -> float:
    """With variances from REML the scatter of bakes times its degrees of freedom."""
    stratum = bakes_stratum(model)
    return model.mixed.sigma2 * stratum.fit.df if isinstance(model, MixedModel) else stratum.fit.sum_sq


def _press(model: Model) -> float | None:
    """Each bake against what the others foretell for it (Allen 1974, Technometrics 16:125)."""
    if isinstance(model, MixedModel) or len(model.strata) > 1 or model.strata[0].mean_sq is None:
        return None
    fit = model.strata[0].fit
    room = 1 - fit.leverage
    if room.min() < FORETOLD:
        return None
    misses = fit.residuals / room
    return float(misses @ misses)


@dataclass(frozen=True)
class Levels:
    """Means and comparisons; ``pairs`` are those of the main-effect slices, by variable position."""

    means: tuple[Mean, ...]
    comparisons: tuple[Comparison, ...]
    pairs: Mapping[int, list[Pair]]


def levels(
    model: Model,
    test_lines: Sequence[Test],
    confidence: float,
    references: Mapping[str, str | None] | None = None,
    adjust: Adjust = "auto",
) -> Levels:
    """Means of every factor and interaction; comparisons of categories.

    Levels are compared within the levels of another factor when their interaction shows, with
    ``references`` (factor -> level) where one was named.
    """
    shown = shown_pairs(model, references or {}, adjust, confidence)
    p = {line.term: line.p for line in test_lines}
    means: list[Mean] = []
    compared: list[Comparison] = []
    pairs: dict[int, list[Pair]] = {}
    for slice_ in slices(model):
        variable = model.variables[slice_.variable]
        own = (
            []
            if variable.amount or (slice_.at and not _shows(model, slice_, p))
            else compare(model, slice_, confidence)
        )
        if not slice_.at:
            pairs[slice_.variable] = shown(slice_, own) if own else own
        compared += as_comparisons(model, slice_, shown(slice_, own) if own else own)
        means += estimated_means(model, slice_, confidence, slice_letters(model, slice_, own, confidence))
    for slice_ in _crosswise(model):
        if _shows(model, slice_, p):
            compared += as_comparisons(model, slice_, shown(slice_, compare(model, slice_, confidence)))
    return Levels(tuple(means), tuple(compared), pairs)


def _shows(model: Model, slice_: Slice, p: Mapping[str, float | None]) -> bool:
    term = model.find(slice_.variable, slice_.at[0][0])
    value = None if term is None else p.get(term.name)
    return value is not None and value < 0.05


def _crosswise(model: Model) -> list[Slice]:
    """The other way round of the interaction slices: categories that are lines in the picture."""
    found = []
    for slice_ in slices(model):
        if slice_.at and not slice_.at[0][1]:
            along, by = slice_.variable, slice_.at[0][0]
            if not model.variables[by].amount:
                found += [Slice(by, ((along, level),)) for level in range(len(model.variables[along].levels))]
    return found


def points(bakes: pd.DataFrame, question: Question, raw: Floats, fitted: Floats) -> list[BakePoint]:
    """Each bake as it entered, with what the model makes of it."""
    amounts = {factor.name for factor in question.factors if factor.kind != "category"}
    columns = {factor.name: bakes[factor.name].tolist() for factor in question.factors}
    blocks = [bakes[name].astype(str).tolist() for name in question.blocks]
    names, order, readings = bakes["bake"].tolist(), bakes["order"].tolist(), bakes["readings"].tolist()
    return [
        BakePoint(
            bake=str(names[i]),
            order=int(order[i]),
            settings={name: float(v[i]) if name in amounts else str(v[i]) for name, v in columns.items()},
            block=", ".join(block[i] for block in blocks) or None,
            observed=float(raw[i]),
            fitted=float(fitted[i]),
            residual=float(raw[i] - fitted[i]),
            readings=int(readings[i]),
        )
        for i in range(len(bakes))
    ]
