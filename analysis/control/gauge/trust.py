"""Can the study be trusted: odd readings, people who repeat unlike each other, scatter that grows, a coarse scale?"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, stdtr

from analysis.control.gauge.people import within_people
from analysis.control.gauge.results import Fit, OddReading
from analysis.control.gauge.study import Study
from analysis.mixed.terms import FloatArray
from analysis.results import Check

BoolArray = NDArray[np.bool_]

ODD = 0.05  # over all readings together
MOST_ODD = 10
ROUNDING = 1e-12
FEW_PEOPLE, FEW_PIECES, FEW_DF = 3, 5, 10  # below these a spread is hardly known; common practice, no source
LEAST_PIECES = 5  # for asking whether the scatter grows


def odd_readings(study: Study) -> tuple[OddReading, ...]:
    """Readings that stand too far from their cell, against the scatter without them (t, Bonferroni).

    The oddest first; it is set aside before the next is looked for, so that its fellows are not blamed
    for it. Of two readings both are meant.
    """
    found: list[OddReading] = []
    kept = np.ones(len(study.y), dtype=bool)
    while len(found) < MOST_ODD:
        odd = _oddest(study, kept)
        if odd is None:
            break
        place, pair, expected, p = odd
        found.append(_odd(study, place, expected, p, pair=pair))
        kept[(study.cell == study.cell[place]) if pair else place] = False
    return tuple(found)


def _oddest(study: Study, kept: BoolArray) -> tuple[int, bool, float, float] | None:
    """(place, one of two?, what its fellows say, p) of the reading farthest out; None when it is not far."""
    counts = np.bincount(study.cell[kept], minlength=study.cells)
    sums = np.bincount(study.cell[kept], study.y[kept], minlength=study.cells)
    n = counts[study.cell]
    usable = kept & (n > 1)
    df = int(usable.sum() - (counts > 1).sum())
    if df < 2:
        return None
    fellows = (sums[study.cell] - study.y) / np.maximum(n - 1, 1)
    # The sum of squares that falls away without the reading: (y - fellows)^2 (n - 1) / n.
    lost = np.where(usable, (study.y - fellows) ** 2 * (n - 1) / np.maximum(n, 1), -1.0)
    whole = float(np.bincount(study.cell[usable], (lost * (n - 1) / np.maximum(n, 1))[usable]).sum())
    place = int(np.argmax(lost))
    pair = int(n[place]) == 2
    looked = int(counts[counts > 2].sum() + (counts == 2).sum())
    rest = (whole - float(lost[place])) / (df - 1)
    t = np.sqrt(lost[place] / rest) if rest > ROUNDING * whole else np.inf
    p = min(1.0, looked * 2 * float(stdtr(df - 1, -t)))
    return (place, pair, float(fellows[place]), p) if p <= ODD else None


def _odd(study: Study, place: int, expected: float, p: float, *, pair: bool) -> OddReading:
    return OddReading(
        row=study.rows[place],
        person=study.people[study.person[place]],
        piece=study.pieces[study.piece[place]],
        value=float(study.y[place]),
        expected=expected,
        p=p,
        pair=pair,
    )


def checks_of(study: Study, used: Fit) -> tuple[Check, ...]:
    """What can be judged, in the order in which it is said."""
    return tuple(check for check in _all(study, used) if check is not None)


def _all(study: Study, used: Fit) -> Iterator[Check | None]:
    yield _alike(study)
    yield _grows(study)
    yield _coarse(study, used)
    people, pieces = len(study.people), len(study.pieces)
    if 1 < people < FEW_PEOPLE:
        yield Check(check="few people", verdict="look here", facts={"people": people})
    if pieces < FEW_PIECES * (people if study.nested else 1):
        yield Check(check="few pieces", verdict="look here", facts={"pieces": pieces, "each": study.nested})
    if 0 < study.within_df < FEW_DF:
        yield Check(check="few repeats", verdict="look here", facts={"df": study.within_df})
    if not study.within_df:
        yield Check(check="no repeats", verdict="look here", facts={})
    if people == 1:
        yield Check(check="one person", verdict="look here", facts={})
    yield _gaps(study)
    yield _apart(study)


def _alike(study: Study) -> Check | None:
    """Bartlett's test of the repeats' variances between people; takes readings as normal."""
    squares, df = within_people(study)
    known = df > 0
    if known.sum() < 2 or df[known].min() < 2:
        return None
    variances, dfs = squares[known] / df[known], df[known].astype(float)
    names = [name for name, is_known in zip(study.people, known, strict=True) if is_known]
    best, worst = int(np.argmin(variances)), int(np.argmax(variances))
    sds = {"best": names[best], "best_sd": float(np.sqrt(variances[best])), "worst": names[worst],
           "worst_sd": float(np.sqrt(variances[worst]))}  # fmt: skip
    if variances[best] <= 0:
        return Check(check="repeats alike", verdict="look here", facts={**sds, "p": None})
    k, total = len(dfs), dfs.sum()
    pooled = float(dfs @ variances / total)
    value = total * np.log(pooled) - float(dfs @ np.log(variances))
    value /= 1 + ((1 / dfs).sum() - 1 / total) / (3 * (k - 1))
    p = float(chdtrc(k - 1, max(value, 0.0)))
    return Check(check="repeats alike", verdict="look here" if p < 0.05 else "fine", facts={**sds, "p": p})


def _grows(study: Study) -> Check | None:
    """Cube root of each piece's variance of repeats (near normal, Wilson and Hilferty 1931) along its mean."""
    means = np.bincount(study.cell, study.y) / study.counts
    squares = np.bincount(study.piece, (study.y - means[study.cell]) ** 2)
    first = np.unique(study.cell, return_index=True)[1]
    df = np.bincount(study.piece[first], study.counts - 1)
    known = df > 0
    if known.sum() < LEAST_PIECES:
        return None
    size = (np.bincount(study.piece, study.y) / np.bincount(study.piece))[known]
    if np.ptp(size) <= 0:
        return None
    slope, t, left = _slope(size, np.cbrt(squares[known] / df[known]), df[known].astype(float))
    if not left > 0:
        return None
    p = 2 * float(stdtr(known.sum() - 2, -abs(t)))
    facts = {"p": p, "direction": "up" if slope > 0 else "down"}
    return Check(check="scatter by size", verdict="look here" if p < 0.05 else "fine", facts=facts)


def _slope(x: FloatArray, y: FloatArray, weight: FloatArray) -> tuple[float, float, float]:
    """(slope, its t, what is left) of a weighted line."""
    x = x - float(weight @ x / weight.sum())
    y = y - float(weight @ y / weight.sum())
    across = float(weight @ x**2)
    slope = float(weight @ (x * y)) / across
    left = float(weight @ (y - slope * x) ** 2) / (len(x) - 2)
    return slope, slope / np.sqrt(left / across) if left > 0 else 0.0, left


def _coarse(study: Study, used: Fit) -> Check | None:
    """Is the smallest step between readings as large as what repeats scatter?"""
    values = np.unique(study.y)
    steps = np.diff(values)
    steps = steps[steps > 1e-9 * max(np.abs(values).max(), np.ptp(values))]
    if not len(steps) or not study.within_df:
        return None
    step, sd = float(steps.min()), used.components["repeatability"].sd
    facts = {"step": step, "sd": sd}
    return Check(check="scale step", verdict="look here" if step > sd else "fine", facts=facts)


def _gaps(study: Study) -> Check | None:
    whole = len(study.people) * len(study.pieces)
    if study.even:
        return None
    missing = 0 if study.nested else whole - study.cells
    single = [name for i, name in enumerate(study.people) if len(np.unique(study.piece[study.person == i])) == 1]
    facts = {"missing": missing, "cells": whole, "one_piece": tuple(single)}
    return Check(check="uneven readings", verdict="look here", facts=facts)


def _apart(study: Study) -> Check | None:
    """Groups of people without a piece in common: who reads higher is then mixed up with whose pieces are."""
    if study.nested or len(study.people) == 1:
        return None
    group = list(range(len(study.people)))
    met: dict[int, set[int]] = {}
    for person, piece in set(zip(study.person.tolist(), study.piece.tolist(), strict=True)):
        met.setdefault(piece, set()).add(person)
    for people in met.values():
        joined = {group[person] for person in people}
        group = [min(joined) if own in joined else own for own in group]
    return Check(check="no piece in common", verdict="look here", facts={}) if len(set(group)) > 1 else None
