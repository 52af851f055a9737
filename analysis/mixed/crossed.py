"""What do groups that cut across each other, or whose slopes vary, take out of the likelihood?

After the nested groups, with A = Z'V^-1 Z and relative covariance L of the effects, the groups left are
taken out at once: N'V^-1 N - N'V^-1 Z L (I + A L)^-1 Z'V^-1 N, log|I + A L|, and their derivatives.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.mixed.terms import FloatArray, RandomTerm


@dataclass(frozen=True)
class Pattern:
    """dL / dgamma of one parameter: ones where a row slice meets a column slice of like length."""

    pairs: tuple[tuple[slice, slice], ...]

    def times(self, matrix: FloatArray) -> FloatArray:
        out = np.zeros_like(matrix)
        for row, column in self.pairs:
            out[row] += matrix[column]
        return out

    def trace_of(self, left: FloatArray, right: FloatArray) -> float:
        """tr(P left right') without the product."""
        return float(sum((left[column] * right[row]).sum() for row, column in self.pairs))


def patterns(terms: Sequence[RandomTerm]) -> list[Pattern]:
    """One for each parameter, in the order of gamma."""
    out, start = [], 0
    for term in terms:
        level = slice(start, start + term.groups)
        start += term.groups
        out.append(Pattern(((level, level),)))
        if term.slope is not None:
            slope = slice(start, start + term.groups)
            start += term.groups
            out.append(Pattern(((level, slope), (slope, level))))
            out.append(Pattern(((slope, slope),)))
    return out


@dataclass(frozen=True, eq=False)
class Taken:
    """Log determinant and N'V^-1 N after the groups, first and second derivatives by all parameters
    (those of the levels before come first)."""

    log_det: float
    log_det_1: FloatArray
    log_det_2: FloatArray
    cross: FloatArray
    cross_1: FloatArray
    cross_2: FloatArray


def take_out(
    whole: FloatArray, whole_1: FloatArray, whole_2: FloatArray, gamma: FloatArray, found: Sequence[Pattern], q: int
) -> Taken:
    """``whole`` (q + c, q + c) and its derivatives (l, ...), (l, l, ...) by the parameters before."""
    before, own = len(whole_1), len(found)
    m, c = before + own, len(whole) - q
    a, h = whole[:q, :q], whole[:q, q:]
    inner = np.eye(q) + _times(gamma, found, a).T  # I + A L, both symmetric
    e: FloatArray = np.asarray(np.linalg.inv(inner), dtype=np.float64)
    s = e @ a
    s = (s + s.T) / 2
    f = e @ h
    b = _times(gamma, found, f)
    out = Taken(
        float(np.linalg.slogdet(inner)[1]), np.zeros(m), np.zeros((m, m)),
        whole[q:, q:] - h.T @ b, np.zeros((m, c, c)), np.zeros((m, m, c, c)),
    )  # fmt: skip
    moved = [pattern.times(f) for pattern in found]  # dL_a F
    seen = [pattern.times(s) for pattern in found]  # dL_a S
    for x in range(own):
        i = before + x
        out.log_det_1[i] = np.trace(seen[x])
        out.cross_1[i] = -f.T @ moved[x]
        for y in range(x, own):
            j = before + y
            _both(out.log_det_2, i, j, -float((seen[x] * seen[y].T).sum()))
            half = moved[x].T @ s @ moved[y]
            _both(out.cross_2, i, j, half + half.T)
    if not before:
        return out
    k = _times(gamma, found, e)
    gaps = [whole_1[i][:q, q:] - whole_1[i][:q, :q] @ b for i in range(before)]
    steps = [e @ gap for gap in gaps]  # derivative of F
    seen_1 = [e @ whole_1[i][:q, :q] for i in range(before)]
    turned = [_times(gamma, found, each) for each in seen_1]
    for i in range(before):
        first = whole_1[i]
        across = first[q:, :q] @ b
        out.log_det_1[i] = np.trace(turned[i])
        out.cross_1[i] = first[q:, q:] - across - across.T + b.T @ first[:q, :q] @ b
        for x in range(own):
            half = -steps[i].T @ moved[x]
            _both(out.cross_2, i, before + x, half + half.T)
            _both(out.log_det_2, i, before + x, found[x].trace_of(seen_1[i], e))
        for j in range(i, before):
            second = whole_2[i, j]
            across = second[q:, :q] @ b + gaps[i].T @ _times(gamma, found, steps[j])
            _both(out.cross_2, i, j, second[q:, q:] - across - across.T + b.T @ second[:q, :q] @ b)
            trace = float((k * second[:q, :q].T).sum()) - float((turned[i] * turned[j].T).sum())
            _both(out.log_det_2, i, j, trace)
    return out


def _times(gamma: FloatArray, found: Sequence[Pattern], matrix: FloatArray) -> FloatArray:
    """L matrix."""
    out = np.zeros_like(matrix)
    for value, pattern in zip(gamma, found, strict=True):
        for row, column in pattern.pairs:
            out[row] += value * matrix[column]
    return out


def effects(a: FloatArray, seen: FloatArray, gamma: FloatArray, found: Sequence[Pattern]) -> FloatArray:
    """(q,) predicted effects L (I + A L)^-1 Z'V^-1 e from ``seen`` = Z'V^-1 e."""
    inner = np.eye(len(a)) + _times(gamma, found, a).T
    return _times(gamma, found, np.asarray(np.linalg.solve(inner, seen), dtype=np.float64))


def _both(table: FloatArray, i: int, j: int, value: FloatArray | float) -> None:
    table[i, j] = value
    table[j, i] = value
