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
    relative = _relative(gamma, found, q)
    inner = np.eye(q) + a @ relative
    e = np.linalg.inv(inner)
    s = e @ a
    s = (s + s.T) / 2
    f = e @ h
    b = relative @ f
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
    k = relative @ e
    gaps = [whole_1[i][:q, q:] - whole_1[i][:q, :q] @ b for i in range(before)]
    steps = [e @ gap for gap in gaps]  # derivative of F
    turned = [k @ whole_1[i][:q, :q] for i in range(before)]
    for i in range(before):
        first = whole_1[i]
        across = first[q:, :q] @ b
        out.log_det_1[i] = np.trace(turned[i])
        out.cross_1[i] = first[q:, q:] - across - across.T + b.T @ first[:q, :q] @ b
        around = e @ first[:q, :q] @ e.T
        for x in range(own):
            half = -steps[i].T @ moved[x]
            _both(out.cross_2, i, before + x, half + half.T)
            _both(out.log_det_2, i, before + x, float(np.trace(found[x].times(around))))
        for j in range(i, before):
            second = whole_2[i, j]
            across = second[q:, :q] @ b + gaps[i].T @ (relative @ steps[j])
            _both(out.cross_2, i, j, second[q:, q:] - across - across.T + b.T @ second[:q, :q] @ b)
            trace = float((k * second[:q, :q].T).sum()) - float((turned[i] * turned[j].T).sum())
            _both(out.log_det_2, i, j, trace)
    return out


def _relative(gamma: FloatArray, found: Sequence[Pattern], q: int) -> FloatArray:
    """L (q, q)."""
    out = np.zeros((q, q))
    for value, pattern in zip(gamma, found, strict=True):
        for row, column in pattern.pairs:
            out[row, column] += value * np.eye(row.stop - row.start)
    return out


def effects(a: FloatArray, seen: FloatArray, gamma: FloatArray, found: Sequence[Pattern]) -> FloatArray:
    """(q,) predicted effects L (I + A L)^-1 Z'V^-1 e from ``seen`` = Z'V^-1 e."""
    relative = _relative(gamma, found, len(a))
    return np.asarray(relative @ np.linalg.solve(np.eye(len(a)) + a @ relative, seen), dtype=np.float64)


def _both(table: FloatArray, i: int, j: int, value: FloatArray | float) -> None:
    table[i, j] = value
    table[j, i] = value
