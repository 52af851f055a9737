"""Which groups lie wholly within others, and which cut across?

The groups with most members to a model, and those they are nested in, are taken out one level after
the other by arithmetic on sums; only the groups that cut across these need a matrix of their own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.mixed.terms import IntArray, RandomTerm


@dataclass(frozen=True, eq=False)
class Nesting:
    """Places of the terms: ``fine`` nested in ``coarse`` (each may be None) and the ``rest``, in the order asked.

    ``parent`` (g,) is the coarse group of each fine group.
    """

    fine: int | None
    coarse: int | None
    rest: tuple[int, ...]
    parent: IntArray | None = None


def nesting(terms: Sequence[RandomTerm]) -> Nesting:
    """Terms with slopes always belong to the rest."""
    plain = [i for i, term in enumerate(terms) if term.slope is None]
    if not plain:
        return Nesting(None, None, tuple(range(len(terms))))
    plain.sort(key=lambda i: -terms[i].groups)
    fine = plain[0]
    for coarse in plain[1:]:
        parent = parents(terms[fine], terms[coarse])
        if parent is not None:
            rest = tuple(i for i in range(len(terms)) if i not in (fine, coarse))
            return Nesting(fine, coarse, rest, parent)
    return Nesting(fine, None, tuple(i for i in range(len(terms)) if i != fine))


def parents(fine: RandomTerm, coarse: RandomTerm) -> IntArray | None:
    """Coarse group of each fine group, or None when a fine group lies in several."""
    out = np.zeros(fine.groups, dtype=np.int64)
    out[fine.codes] = coarse.codes
    return out if np.array_equal(out[fine.codes], coarse.codes) else None
