"""What is each effect mixed with in part, when the model leaves interactions out?

With X the model's columns and Z those of the pairs and bends it leaves out, the estimates are
off by A = (X'X)^-1 X'Z times the true pairs (the alias matrix; Box & Wilson 1951, J. Royal
Statistical Society B 13:1).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.designs.columns import Floats, Term, products
from analysis.designs.model import Model

if TYPE_CHECKING:
    from analysis.designs.plan import PlannedRun

SEEN = 1e-6


@dataclass(frozen=True, kw_only=True, eq=False)
class MixedIn:
    """``terms`` (columns of the model by name), ``left_out`` (columns of what it leaves out), ``share`` (m, q).

    ``share[i][j]``: how much of left-out effect j goes into the estimate of term i.
    """

    terms: tuple[str, ...]
    left_out: tuple[str, ...]
    share: Floats

    def __eq__(self, other: object) -> bool:
        """Arrays are compared as a whole."""
        if not isinstance(other, MixedIn):
            return NotImplemented
        named = (self.terms, self.left_out) == (other.terms, other.left_out)
        return named and np.array_equal(self.share, other.share)

    def __hash__(self) -> int:
        return hash((self.terms, self.left_out))

    @property
    def largest(self) -> float:
        return float(np.abs(self.share).max(initial=0.0))

    def to_json(self) -> list[dict[str, Any]]:
        """One entry for each term that is mixed in part: {term, with: {pair: share}}."""
        found = []
        for name, row in zip(self.terms, self.share, strict=True):
            others = {other: round(float(v), 9) for other, v in zip(self.left_out, row, strict=True) if abs(v) > SEEN}
            if others:
                found.append({"term": name, "with": others})
        return found


def mixed_in(model: Model, runs: Sequence[PlannedRun]) -> MixedIn | None:
    """None when the model holds all pairs, speaks of shares, or leaves out nothing."""
    if model.name not in ("main effects", "interactions"):
        return None
    names = list(model.columns)
    held = {frozenset(term.factors) for term in model.spans if not term.is_square}
    per_factor = {name: np.array([model.columns[name].at(run.settings[name]) for run in runs]) for name in names}
    squares = [
        Term(factors=(name, name))
        for name in names
        if model.columns[name].kind == "amount" and len(model.columns[name].settings) > 2
    ]
    left = [Term(factors=pair) for pair in combinations(names, 2) if frozenset(pair) not in held]
    left = [*left, *squares] if model.name == "main effects" else left
    if not left:
        return None
    blocks = [products([per_factor[name] for name in term.factors]) for term in left]
    coefficients = np.linalg.lstsq(model.matrix, np.hstack(blocks), rcond=None)[0]
    shares = []
    for span in model.spans.values():
        part = np.abs(coefficients[span])
        strongest = part.argmax(axis=0)
        shares.append(coefficients[span][strongest, np.arange(part.shape[1])])
    columns = [term.name for term, block in zip(left, blocks, strict=True) for _ in range(block.shape[1])]
    return MixedIn(terms=tuple(term.name for term in model.spans), left_out=tuple(columns), share=np.array(shares))
