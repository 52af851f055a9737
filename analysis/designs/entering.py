"""Which terms do the runs let in, and in which stratum does each change?

Terms come by order, as the analysis takes them: one that others already say is lost; where terms of
one order are mixed with each other none stays; a factor that is constant within every whole plot is
judged by the differences between whole plots.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.designs.columns import Floats, Term

RANK_TOLERANCE = 1e-8
BAKES = "bakes"


@dataclass(frozen=True, kw_only=True)
class Stratum:
    """``group``: an error group, or "bakes" for single bakes; ``terms`` are judged by its ``df_error``."""

    group: str
    terms: tuple[Term, ...]
    df_error: int


class Entering:
    """Takes terms one by one: each enters the matrix and one stratum, or is lost."""

    def __init__(self, base: Floats, partitions: Sequence[Floats], names: Sequence[str], *, mean: bool) -> None:
        self.mean = mean
        self.matrix = base
        self.partitions = list(partitions)
        self.names = list(names)
        self.spans: dict[Term, slice] = {}
        self.lost: list[Term] = []
        self.terms: list[list[Term]] = [[] for _ in range(len(partitions) + 1)]
        # What each stratum already says: the fixed columns that are constant in its groups, its coarser groups.
        # Shares hold the mean among them, so that whole plots know it as well.
        mean_of_shares = np.ones((len(base), 0 if mean else 1))
        self.known = [np.hstack([mean_of_shares, self._constant_columns(base, part)]) for part in self.partitions]
        self.known.append(np.hstack([base, *self.partitions]))
        self.mixed = False
        self.met: set[bytes] = set()
        self.singles: tuple[Floats, list[Floats]] | None = None

    def _constant_columns(self, columns: Floats, part: Floats) -> Floats:
        return columns[:, [constant_within(columns[:, [at]], part) for at in range(columns.shape[1])]]

    def offer_together(self, peers: Mapping[Term, Floats]) -> None:
        """Terms of one order. Where they are mixed with each other none stays: which did would be an accident."""
        if self.mixed:
            self.lost.extend(peers)
            return
        before, known, spans = self.matrix, list(self.known), dict(self.spans)
        pairs = any(len(set(term.factors)) < 3 for term in peers)
        alone = self.singles if pairs else (before, known)  # bends and pairs are of one order
        terms, lost = [list(each) for each in self.terms], list(self.lost)
        twins = {term for term, columns in peers.items() if self._is_alias(columns)}
        for term, columns in peers.items():
            if term in twins or self._stands_on_lost(term):
                self.lost.append(term)
            else:
                self._offer(term, columns)
        if not any(
            term in self.lost and term not in twins and self._would_fit(columns, alone)
            for term, columns in peers.items()
        ):
            if any(len(term.factors) == 1 for term in peers):
                self.singles = (self.matrix, list(self.known))
            return
        self.matrix, self.known, self.spans, self.terms = before, known, spans, terms
        self.lost = [*lost, *peers]
        self.mixed = True

    def _is_alias(self, columns: Floats) -> bool:
        """Is it one column that was met before, but for its sign and size, or never changes?"""
        if columns.shape[1] != 1:
            return False
        key = alias_key(columns[:, 0])
        met = key in self.met or key == b""
        self.met.add(key)
        return met

    def _stands_on_lost(self, term: Term) -> bool:
        gone = {other.factors for other in self.lost if len(other.factors) < len(term.factors)}
        return any(set(factors) <= set(term.factors) for factors in gone)

    def _would_fit(self, columns: Floats, lower: tuple[Floats, list[Floats]] | None) -> bool:
        """Could it be told from the terms of ``lower`` orders alone?"""
        if lower is None:
            return False
        matrix, known = lower
        at = self._stratum(columns)
        in_stratum, whole = np.hstack([known[at], columns]), np.hstack([matrix, columns])
        return rank_of(in_stratum) == rank_of(known[at]) + columns.shape[1] and rank_of(whole) == whole.shape[1]

    def _stratum(self, columns: Floats) -> int:
        return next(
            (i for i, part in enumerate(self.partitions) if constant_within(columns, part)), len(self.terms) - 1
        )

    def _offer(self, term: Term, columns: Floats) -> None:
        at = self._stratum(columns)
        in_stratum = np.hstack([self.known[at], columns])
        whole = np.hstack([self.matrix, columns])
        new = rank_of(in_stratum) == rank_of(self.known[at]) + columns.shape[1]
        stands_for_mean = not self.mean and bool(self.partitions) and len(term.factors) == 1
        if not (new or stands_for_mean) or rank_of(whole) < whole.shape[1]:
            self.lost.append(term)
            return
        self.spans[term] = slice(self.matrix.shape[1], whole.shape[1])
        self.matrix, self.known[at] = whole, in_stratum
        self.terms[at].append(term)

    def strata(self) -> tuple[Stratum, ...]:
        rows = [rank_of(part) for part in self.partitions] + [len(self.matrix)]
        return tuple(
            Stratum(group=name, terms=tuple(terms), df_error=count - rank_of(known))
            for name, terms, count, known in zip([*self.names, BAKES], self.terms, rows, self.known, strict=True)
        )


def constant_within(columns: Floats, part: Floats) -> bool:
    """Is every column (n, d) the same for all runs of each group of ``part`` (n, groups)?"""
    means = part @ ((part.T @ columns) / part.sum(axis=0)[:, None])
    return bool(np.all(np.abs(columns - means) < RANK_TOLERANCE))


def indicators(labels: Sequence[str]) -> Floats:
    known = list(dict.fromkeys(labels))
    return np.array([[1.0 if label == each else 0.0 for each in known] for label in labels])


def rank_of(matrix: Floats) -> int:
    return int(np.linalg.matrix_rank(matrix, tol=RANK_TOLERANCE * max(matrix.shape))) if matrix.shape[1] else 0


def alias_key(column: Floats) -> bytes:
    """The same bytes for columns (n,) that are equal up to sign and size; b"" for a constant."""
    if np.ptp(column) < RANK_TOLERANCE:
        return b""
    first = column[np.argmax(np.abs(column) > RANK_TOLERANCE)]
    return bytes((np.round(column / first, 8) + 0.0).tobytes())
