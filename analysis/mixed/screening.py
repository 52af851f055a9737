"""Which of the asked groups can the data tell apart, and where does the search begin?

At gamma = 0 the information tr(P V_a P V_b) is a table of inner products: a term whose V follows from
the residual's and the earlier terms' cannot be told from them, and one of length 0 lies in the fixed part.
The same evaluation gives the estimates from quadratic forms (MIVQUE(0), Rao 1971), which for balanced
data are those of the mean squares.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analysis.mixed.criterion import Deviance
from analysis.mixed.parameters import Layout
from analysis.mixed.terms import FloatArray, IntArray, RandomTerm

FARTHEST = 1e3  # theta a search begins at
ALIKE = 1e-9  # squared sine of the angle between two V, below which they are one


def layout_of(terms: Sequence[RandomTerm]) -> Layout:
    return Layout(tuple(term.width for term in terms))


def one_group_left_out(terms: Sequence[RandomTerm]) -> tuple[list[int], dict[str, str]]:
    """Places of the terms that have groups at all, and what is wrong with the others."""
    kept, dropped = [], {}
    for place, term in enumerate(terms):
        if term.codes.size and (term.codes == term.codes[0]).all():
            dropped[term.name] = "one group"
        else:
            kept.append(place)
    return kept, dropped


def told_apart(
    terms: Sequence[RandomTerm], zero: Deviance, sizes: FloatArray
) -> tuple[list[RandomTerm], dict[str, str]]:
    """Terms that stay (perhaps without their slope) and why the others do not.

    ``zero`` is the restricted deviance at gamma = 0, ``sizes`` (m,) are tr(V^-1 V_a V^-1 V_a) there.
    """
    m = len(sizes)
    table = np.empty((m + 1, m + 1))
    table[1:, 1:] = -zero.traces_2
    table[0, 1:] = table[1:, 0] = zero.traces_1
    table[0, 0] = zero.df
    stay, dropped, taken = [], {}, [0]
    for term, s in zip(terms, layout_of(terms).slices(), strict=True):
        place = s.start + 1
        if not _new(table, taken, place, sizes):
            dropped[term.name] = _reason(term, terms, table, place, sizes)
            continue
        taken.append(place)
        if term.slope is not None:
            if _new(table, taken, place + 1, sizes) and _new(table, [*taken, place + 1], place + 2, sizes):
                taken += [place + 1, place + 2]
            else:
                dropped[term.effect_names[1]] = "slope not seen"
                term = replace(term, slope=None)
        stay.append(term)
    return stay, dropped


def _new(table: FloatArray, taken: list[int], place: int, sizes: FloatArray) -> bool:
    own = table[place, place]
    if own <= ALIKE * sizes[place - 1]:
        return False
    scale = np.sqrt(np.diag(table)[taken])
    inner = table[np.ix_(taken, taken)] / np.outer(scale, scale)
    along = table[taken, place] / scale / np.sqrt(own)
    return bool(1 - along @ np.linalg.solve(inner, along) > ALIKE)


def _reason(term: RandomTerm, terms: Sequence[RandomTerm], table: FloatArray, place: int, sizes: FloatArray) -> str:
    if table[place, place] <= ALIKE * sizes[place - 1]:
        return "taken up by the fixed part"
    if len(np.unique(term.codes)) == len(term.codes):
        return "one row in each group"
    if any(other is not term and _same(other, term) for other in terms):
        return "same as other groups"
    return "cannot be told apart"


def _same(a: RandomTerm, b: RandomTerm) -> bool:
    pairs = len(np.unique(np.stack([a.codes, b.codes]), axis=1).T)
    return pairs == len(np.unique(a.codes)) == len(np.unique(b.codes))


def starting_theta(layout: Layout, zero: Deviance, keep: IntArray) -> FloatArray:
    """theta from quadratic forms at gamma = 0; what comes out negative starts a little above the edge."""
    m = layout.size
    table = np.empty((m + 1, m + 1))
    table[:m, :m] = -zero.traces_2[np.ix_(keep, keep)]
    table[:m, m] = table[m, :m] = zero.traces_1[keep]
    table[m, m] = zero.df
    right = np.append(-zero.quadratic_1[keep], zero.quadratic)
    found = np.linalg.lstsq(table, right, rcond=None)[0]
    if found[m] <= 0:
        return 2 * layout.ones()
    theta = np.clip(layout.theta(found[:m] / found[m]), -FARTHEST, FARTHEST)
    for s, w in zip(layout.slices(), layout.widths, strict=True):
        for place in (s.start,) if w == 1 else (s.start, s.start + 2):
            if theta[place] == 0 or (w == 2 and theta[place] < 0.1):
                theta[place] = 0.1
    return theta
