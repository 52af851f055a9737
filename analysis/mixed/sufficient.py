"""Which sums of the readings does the likelihood need, however many rows there are?

With columns M = [Z of the groups that cut across, X, y] the nested groups act through sums of M by group:
M'V^-1 M = M'WM - sum_k w_k(gamma) B_k, where all fine groups of equal weight share one B, and all coarse
groups made of the same kinds of fine groups share one B for each pair of kinds. Balanced data have two
B in all, a million rows with gaps some hundred; only the numbers w_k change with gamma.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix, hstack

from analysis.errors import NotPossible
from analysis.mixed.door import WHERE
from analysis.mixed.nesting import Nesting
from analysis.mixed.preparing import Ready
from analysis.mixed.terms import FloatArray, IntArray, RandomTerm

SPARSE = 64  # groups that cut across, beyond which a nested group meets few of them
MOST_CROSSED = 6000  # groups that cut across others, beyond which their matrix is too large


@dataclass(frozen=True, eq=False)
class Sums:
    """``whole`` (c, c) = M'WM; ``fine`` (g, c) sums of WM by fine group, ``fine_weight`` (g,) its weights."""

    whole: FloatArray
    fine: FloatArray | csr_matrix
    fine_weight: FloatArray
    crossed: int
    log_weights: float
    rows: int


def crossed_columns(terms: Sequence[RandomTerm], n: int) -> csr_matrix:
    """Z (n, q) of the terms: for each its groups, then with a slope its groups' slopes."""
    rows, blocks = np.arange(n), []
    for term in terms:
        for values in (np.ones(n), *([] if term.slope is None else [term.slope])):
            blocks.append(csr_matrix((values, (rows, term.codes)), shape=(n, term.groups)))
    return hstack(blocks, format="csr") if blocks else csr_matrix((n, 0))


def sums(ready: Ready, terms: Sequence[RandomTerm], nested: Nesting) -> Sums:
    n, p = ready.n, ready.p
    z = crossed_columns([terms[i] for i in nested.rest], n)
    q = z.shape[1]
    if q > MOST_CROSSED:
        raise NotPossible(
            f"{q} groups cut across others; more than {MOST_CROSSED} cannot be fitted together.",
            where=WHERE,
            try_this="Leave out the grouping with the most groups, or average its readings first.",
        )
    w = ready.weights
    zw = z if w is None else z.multiply(w[:, None]).tocsr()
    rest = ready.rest if w is None else ready.rest * w
    whole = np.zeros((q + p + 1, q + p + 1))
    if q:
        whole[:q, :q] = (z.T @ zw).toarray()
        whole[:q, q : q + p] = (zw.T @ ready.x) @ ready.back
        whole[:q, -1] = zw.T @ ready.rest
        whole[q:, :q] = whole[:q, q:].T
    whole[q : q + p, q : q + p] = np.eye(p)
    whole[q : q + p, -1] = whole[-1, q : q + p] = ready.back.T @ (ready.x.T @ rest)
    whole[-1, -1] = ready.rest @ rest
    fine, weight = (
        _by_group(ready, zw, terms[nested.fine]) if nested.fine is not None else (np.zeros((0, 0)), np.zeros(0))
    )
    return Sums(whole, fine, weight, q, 0.0 if w is None else float(np.log(w).sum()), n)


def _by_group(ready: Ready, zw: csr_matrix, term: RandomTerm) -> tuple[FloatArray | csr_matrix, FloatArray]:
    n, g = ready.n, term.groups
    w = np.ones(n) if ready.weights is None else ready.weights
    gather = csr_matrix((w, (term.codes, np.arange(n))), shape=(g, n))
    plain = csr_matrix((np.ones(n), gather.indices, gather.indptr), shape=(g, n))
    own = np.column_stack([(gather @ ready.x) @ ready.back, gather @ ready.rest])
    crossed = plain @ zw
    out = (
        hstack([crossed, csr_matrix(own)], format="csr")
        if zw.shape[1] > SPARSE
        else np.hstack([crossed.toarray(), own])
    )
    return out, np.bincount(term.codes, w, g).astype(np.float64)


def kinds(values: FloatArray) -> tuple[FloatArray, IntArray]:
    """Distinct values and which of them each is."""
    distinct, which = np.unique(values, return_inverse=True)
    return distinct, which.astype(np.int64)
