"""Who reads higher, by how much, and who repeats how well?

People are taken as they stand (these very people), pieces as drawn from many; errors by Kenward and Roger,
which are the exact ones for even data. Intervals of all people together hold with the confidence asked
for (Bonferroni).
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from scipy.special import chdtri, stdtrit

from analysis.control.gauge.results import Fit, PairLine, PersonLine
from analysis.control.gauge.study import Study
from analysis.control.gauge.uneven import terms_of
from analysis.errors import NotPossible
from analysis.mixed.fit import MixedFit
from analysis.mixed.reml import fit_reml
from analysis.mixed.terms import FloatArray, IntArray

Limits = tuple[float, float | None, float | None]


def people_lines(study: Study, used: Fit, confidence: float) -> tuple[tuple[PersonLine, ...], PairLine | None]:
    """Each person in the order of the table; the two farthest apart (None for one person)."""
    count = len(study.people)
    readings, sums = np.bincount(study.person), np.bincount(study.person, study.y)
    fit = _fixed(study, used) if count > 1 else None
    rows = np.eye(count) - 1 / count
    offsets = _limits(fit, rows, confidence) if fit else [None] * count
    lines = []
    for i, name in enumerate(study.people):
        sd, sd_low, sd_high = _repeats(study, i, confidence)
        offset, low, high = offsets[i] or (None, None, None)
        lines.append(
            PersonLine(
                person=name,
                readings=int(readings[i]),
                mean=float(sums[i] / readings[i]),
                offset=offset,
                low=low,
                high=high,
                sd=sd,
                sd_low=sd_low,
                sd_high=sd_high,
            )
        )
    return tuple(lines), _pair(study, fit, confidence) if fit else None


def _fixed(study: Study, used: Fit) -> MixedFit | None:
    """People in the fixed part, one column each; None where they cannot be told from their pieces."""
    x = np.eye(len(study.people))[study.person]
    try:
        return fit_reml(study.y, x, terms_of(study, used.model, person=False))
    except NotPossible:
        return None


def _limits(fit: MixedFit, rows: FloatArray, confidence: float) -> list[Limits | None]:
    tail = (1 - confidence) / 2 / len(rows)
    out: list[Limits | None] = []
    for estimate, se, df in fit.contrasts(rows):
        if se is None or df is None or not df > 0:
            out.append((estimate, None, None))
            continue
        reach = float(stdtrit(df, 1 - tail)) * se
        out.append((estimate, estimate - reach, estimate + reach))
    return out


def _pair(study: Study, fit: MixedFit, confidence: float) -> PairLine:
    """Highest minus lowest: an interval wide enough for whichever pair had come out so."""
    places = list(combinations(range(len(study.people)), 2))
    high, low = int(np.argmax(fit.coefficients)), int(np.argmin(fit.coefficients))
    rows = np.zeros((len(places), len(study.people)))
    for k, (i, j) in enumerate(places):
        rows[k, i], rows[k, j] = (1, -1) if fit.coefficients[i] >= fit.coefficients[j] else (-1, 1)
    found = _limits(fit, rows, confidence)[places.index((min(high, low), max(high, low)))] if high != low else None
    difference, lower, upper = found or (0.0, None, None)
    return PairLine(higher=study.people[high], lower=study.people[low], difference=difference, low=lower, high=upper)


def within_people(study: Study) -> tuple[FloatArray, IntArray]:
    """(sums of squares (people,), df (people,)) of repeat readings about their cell."""
    means = np.bincount(study.cell, study.y) / study.counts
    squares = np.bincount(study.person, (study.y - means[study.cell]) ** 2, minlength=len(study.people))
    first = np.unique(study.cell, return_index=True)[1]
    df = np.bincount(study.person[first], study.counts - 1, minlength=len(study.people))
    return squares.astype(np.float64), df.astype(np.int64)


def _repeats(study: Study, person: int, confidence: float) -> tuple[float | None, float | None, float | None]:
    squares, df = within_people(study)
    if not df[person]:
        return None, None, None
    tail = (1 - confidence) / 2
    own, its_df = float(squares[person]), int(df[person])
    ends = [float(np.sqrt(own / chdtri(its_df, at))) for at in (tail, 1 - tail)]
    return float(np.sqrt(own / its_df)), ends[0], ends[1]
