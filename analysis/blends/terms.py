"""How do shares of a whole become the columns of a blending model?

Scheffé's polynomials have no constant, since the shares add up to one (Scheffé 1958, J. Royal
Statistical Society B 20:344). Blocks and other factors enter as columns that add up to zero over
the bakes, so that a share's coefficient stays the response of that ingredient by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.errors import NotPossible, TrialDataError
from analysis.linear.coding import Variable, variables_of
from analysis.linear.least_squares import Basis
from analysis.questions import Factor, Question

Floats = NDArray[np.float64]

WHOLE_WITHIN = 0.005  # shares may miss the whole by this part of it: a scale's rounding
DEGREES = {"mixture linear": 1, "mixture quadratic": 2, "mixture special cubic": 3}


@dataclass(frozen=True, eq=False, kw_only=True)
class BlendTerm:
    """``shares``: positions of the shares it multiplies (empty for a block or another factor)."""

    name: str
    columns: Floats
    shares: tuple[int, ...] = ()
    block: bool = False


@dataclass(frozen=True, eq=False, kw_only=True)
class BlendDesign:
    """``parts`` (n, q) are the shares as parts of one; ``lost`` the terms that could not be told."""

    names: tuple[str, ...]
    parts: Floats
    total: float
    terms: tuple[BlendTerm, ...]
    lost: tuple[str, ...]
    others: tuple[Variable, ...]

    @property
    def matrix(self) -> Floats:
        return np.hstack([term.columns for term in self.terms])

    def spans(self) -> list[slice]:
        """The columns of each term in ``matrix``."""
        edges = np.cumsum([0, *(term.columns.shape[1] for term in self.terms)])
        return [slice(int(a), int(b)) for a, b in pairwise(edges)]


def blend_design(bakes: pd.DataFrame, question: Question) -> BlendDesign:
    """Raises TrialDataError for shares that make no whole, NotPossible when nothing was varied."""
    shares = [factor for factor in question.factors if factor.kind == "share"]
    parts, total = _parts(bakes, shares)
    if not (np.ptp(parts, axis=0) > 0).any():
        raise NotPossible(
            "Every bake had the same blend.", where="shares", try_this="bake blends that differ in their shares"
        )
    others = [factor for factor in question.factors if factor.kind != "share" and bakes[factor.name].nunique() > 1]
    blocks = [name for name in question.blocks if bakes[name].nunique() > 1]
    variables = variables_of(bakes, others, blocks)
    degree = DEGREES.get(question.model or "", 2)
    names = tuple(factor.name for factor in shares)
    singles = [BlendTerm(name=name, columns=parts[:, [at]], shares=(at,)) for at, name in enumerate(names)]
    fixed = [BlendTerm(name=v.name, columns=v.columns - v.columns.mean(axis=0), block=v.block) for v in variables]
    joint = [
        BlendTerm(
            name=":".join(names[at] for at in group), columns=parts[:, list(group)].prod(axis=1)[:, None], shares=group
        )
        for size in range(2, degree + 1)
        for group in combinations(range(len(names)), size)
    ]
    kept, lost = _told([*singles, *fixed], joint, rows=len(parts))
    return BlendDesign(
        names=names, parts=parts, total=total, terms=tuple(kept), lost=tuple(lost), others=tuple(variables)
    )


def _parts(bakes: pd.DataFrame, shares: Sequence[Factor]) -> tuple[Floats, float]:
    raw = bakes[[factor.name for factor in shares]].to_numpy(dtype=np.float64)
    sums = raw.sum(axis=1)
    total = float(np.median(sums))
    if len(shares) < 2 or total <= 0:
        raise TrialDataError(
            "A blend has at least two shares that add up to a whole.",
            where="shares",
            try_this="name every share of the whole as share, or this one as amount",
        )
    away = np.abs(sums - total) > WHOLE_WITHIN * total
    if away.any() or (raw < 0).any():
        at = int(np.argmax(away | (raw < 0).any(axis=1)))
        raise TrialDataError(
            f"The shares of bake {bakes['bake'].iloc[at]} add up to {sums[at]:g}, those of the others to {total:g}."
            if away.any()
            else f"Bake {bakes['bake'].iloc[at]} has a share below 0.",
            where=" + ".join(factor.name for factor in shares),
            try_this="correct the share, or name the missing one as well",
        )
    return raw / sums[:, None], total


def _told(first: Sequence[BlendTerm], then: Sequence[BlendTerm], *, rows: int) -> tuple[list[BlendTerm], list[str]]:
    """Terms that the bakes can tell, with at least one degree of freedom for the error."""
    basis = Basis(rows)
    kept, lost = [], []
    for term in first:
        if basis.adds(term.columns):
            kept.append(term)
        elif term.shares:
            raise NotPossible(
                f"The shares moved together, so that {term.name} cannot be told from the others.",
                where=term.name,
                try_this="bake blends in which each share changes by itself",
            )
        else:
            lost.append(term.name)
    for term in then:
        full = basis.columns.shape[1] + term.columns.shape[1] >= rows
        if not full and basis.adds(term.columns):
            kept.append(term)
        else:
            lost.append(term.name)
    if basis.columns.shape[1] >= rows:
        raise NotPossible(
            f"{rows} bakes are too few to tell {len(first)} shares and blocks and an error to judge them by.",
            where="bakes",
            try_this="bake some blends again",
        )
    return kept, lost
