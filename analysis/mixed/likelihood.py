"""log|V| and M'V^-1 M with their derivatives, from sums alone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.mixed.crossed import effects, patterns, take_out
from analysis.mixed.each_group import EachGroup, nested_effects
from analysis.mixed.jets import Jet
from analysis.mixed.levels import ONE, ONE_ONE, ONE_TWO, TWO, TWO_TWO, VALUE, Levels, levels
from analysis.mixed.nesting import Nesting, nesting
from analysis.mixed.preparing import Ready
from analysis.mixed.sufficient import Sums, sums
from analysis.mixed.terms import FloatArray, IntArray, RandomTerm


class SumJets:
    """``at(gamma)`` with gamma in the order of ``terms``."""

    def __init__(self, ready: Ready, terms: Sequence[RandomTerm]) -> None:
        self.ready, self.terms = ready, tuple(terms)
        self.nested, self.sums, self.levels = _summed(ready, terms)
        self.patterns = patterns([terms[i] for i in self.nested.rest])
        self.order, self.before = self._order()

    def _order(self) -> tuple[IntArray, int]:
        """Places in gamma: the levels' own first, then those of the rest."""
        starts = np.cumsum([0, *(1 if t.slope is None else 3 for t in self.terms)])
        first = [i for i in (self.nested.fine, self.nested.coarse) if i is not None]
        places = [int(starts[i]) for i in first]
        for i in self.nested.rest:
            places += range(int(starts[i]), int(starts[i + 1]))
        return np.array(places, dtype=np.int64), len(first)

    def effects(self, gamma: FloatArray, coefficients: FloatArray) -> list[FloatArray]:
        """Predicted effects (g, width) of each term, G Z'V^-1 (y - X b), from the top down."""
        gamma = np.asarray(gamma)[self.order]
        out: dict[int, FloatArray] = {}
        mix, q = np.append(-coefficients, 1.0), self.sums.crossed
        crossed = np.zeros(q)
        if q:
            whole = self._nested(gamma[: self.before])[3]
            crossed = effects(whole[:q, :q], whole[:q, q:] @ mix, gamma[self.before :], self.patterns)
            start = 0
            for i in self.nested.rest:
                term = self.terms[i]
                out[i] = crossed[start : start + term.width * term.groups].reshape(term.width, term.groups).T
                start += term.width * term.groups
        if self.nested.fine is not None:
            left = self.sums.fine @ np.concatenate([-crossed, mix])
            fine, coarse = nested_effects(left, self.sums.fine_weight, gamma[: self.before], self.nested.parent)
            out[self.nested.fine] = fine[:, None]
            if self.nested.coarse is not None:
                out[self.nested.coarse] = coarse[:, None]
        return [out[i] for i in range(len(self.terms))]

    def at(self, gamma: FloatArray) -> Jet:
        gamma = np.asarray(gamma)[self.order]
        log_det, log_1, log_2, whole, whole_1, whole_2 = self._nested(gamma[: self.before])
        q = self.sums.crossed
        log_det -= self.sums.log_weights
        if q:
            out = take_out(whole, whole_1, whole_2, gamma[self.before :], self.patterns, q)
            b = self.before
            out.log_det_1[:b] += log_1
            out.log_det_2[:b, :b] += log_2
            jet = (log_det + out.log_det, out.log_det_1, out.log_det_2, out.cross, out.cross_1, out.cross_2)
        else:
            jet = (log_det, log_1, log_2, whole, whole_1, whole_2)
        back = np.argsort(self.order)
        both = np.ix_(back, back)
        return Jet(jet[0], jet[1][back], jet[2][both], jet[3], jet[4][back], jet[5][both], self.sums.rows)

    def _nested(self, gamma: FloatArray) -> tuple[float, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
        whole, c = self.sums.whole, len(self.sums.whole)
        if self.levels is None:
            return 0.0, np.zeros(0), np.zeros((0, 0)), whole, np.zeros((0, c, c)), np.zeros((0, 0, c, c))
        one, two = float(gamma[0]), float(gamma[1]) if self.before > 1 else 0.0
        log = self.levels.log_det(one, two)
        moved = self.levels.moved(one, two)
        keep = slice(0, self.before)
        first = np.array([moved[ONE], moved[TWO]])[keep]
        second = np.array([[moved[ONE_ONE], moved[ONE_TWO]], [moved[ONE_TWO], moved[TWO_TWO]]])[keep, keep]
        log_1 = log[[ONE, TWO]][keep]
        log_2 = np.array([[log[ONE_ONE], log[ONE_TWO]], [log[ONE_TWO], log[TWO_TWO]]])[keep, keep]
        return float(log[VALUE]), log_1, log_2, whole + moved[VALUE], first, second


def _summed(ready: Ready, terms: Sequence[RandomTerm]) -> tuple[Nesting, Sums, Levels | EachGroup | None]:
    """Nested groups by their kinds; where these are too many, group by group."""
    nested = nesting(terms)
    if nested.fine is not None:
        found = sums(ready, terms, nested)
        coarse = 0 if nested.coarse is None else terms[nested.coarse].groups
        return nested, found, levels(found, nested, coarse) or EachGroup(found.fine, found.fine_weight, nested.parent)
    return nested, sums(ready, terms, nested), None
