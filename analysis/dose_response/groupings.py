"""Which bakes shared a day, an oven load, a strip, and is that taken as fixed or as chance?

Blocks and strips are fixed: what differs between them is taken out. ``group`` and ``crossed``
are chance: their groups stand for others of the kind, so that what is read off the curve carries
their spread. Each chain of columns is nested: "day", then "day+load". A chain of fewer than three
groups cannot tell its own spread and is taken out like a block.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.dose_response.whitening import Groups
from analysis.errors import TrialDataError
from analysis.linear.random_groups import chain_name
from analysis.questions import Question

Ints = npt.NDArray[np.int64]
Fixed = tuple[tuple[str, Ints], ...]
FEWEST = 3


def read_groupings(bakes: pd.DataFrame, question: Question) -> tuple[Fixed, tuple[Groups, ...], dict[str, str]]:
    """(fixed blocks, random groupings, why a grouping is not random)."""
    fixed = {name: codes_of(bakes[name])[0] for name in (*question.blocks, *question.strips)}
    random: dict[str, Groups] = {}
    reasons: dict[str, str] = {}
    for name, codes in _chains(bakes, question).items():
        count = int(codes.max()) + 1
        alike = _alike(codes, [*fixed.values(), *(group.codes for group in random.values())])
        if count in (1, codes.size) or alike:
            why = "there is one for all bakes" if count == 1 else "each holds one bake"
            reasons[f"group {name}"] = "it repeats another grouping" if alike else why
        elif count < FEWEST:
            fixed[name] = codes
            reasons[f"group {name}"] = f"{count} of them cannot tell how much such groups differ; taken out as blocks"
        else:
            random[name] = Groups(name=name, codes=codes)
    return tuple(fixed.items()), tuple(random.values()), reasons


def _chains(bakes: pd.DataFrame, question: Question) -> dict[str, Ints]:
    out: dict[str, Ints] = {}
    for chain in (question.group, *question.crossed):
        for deep in range(1, len(chain) + 1):
            names = chain[:deep]
            parts = zip(*(bakes[name].astype(str) for name in names), strict=True)
            joined = chain_name(names)
            out[joined] = codes_of(pd.Series([" / ".join(part) for part in parts], index=bakes.index, name=joined))[0]
    return out


def _alike(codes: Ints, others: list[Ints]) -> bool:
    """Does another grouping split the bakes in the same way?"""
    count = int(codes.max()) + 1
    for other in others:
        pairs = np.unique(codes * (int(other.max()) + 1) + other).size
        if pairs == count == int(other.max()) + 1:
            return True
    return False


def codes_of(column: pd.Series) -> tuple[Ints, tuple[str, ...]]:
    """Level numbers and names, in the stored order; only levels that occur."""
    stored = column if isinstance(column.dtype, pd.CategoricalDtype) else column.astype(str).astype("category")
    stored = stored.cat.remove_unused_categories()
    if stored.isna().any():
        raise TrialDataError(
            f'"{column.name}" has gaps.', where=f'column "{column.name}"', try_this="fill in or leave out these rows"
        )
    return stored.cat.codes.to_numpy(dtype=np.int64), tuple(str(c) for c in stored.cat.categories)
