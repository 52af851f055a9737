"""Which effects have the same column in these runs, so that nothing can tell them apart?

Looked for in the runs themselves, as the analysis does: for designs that are no regular fraction
by construction, or that grew by additions.
"""

from __future__ import annotations

from itertools import combinations

from analysis.designs.columns import Term, products
from analysis.designs.entering import alias_key
from analysis.designs.model import Model

ALIAS_ORDER = 3  # interactions of more factors are not listed
MOST_FACTORS = 12  # with more, only what the model asks for is looked at


def alias_chains(model: Model) -> list[tuple[str, ...]]:
    """Chains of terms named first by the one that the model holds; interactions of up to three factors."""
    asked = sorted([*model.spans, *model.lost], key=lambda term: (len(term.factors), not term.is_square))
    names = list(model.columns)
    single = all(column.shape[1] == 1 for column in model.runs.values())
    if any(model.columns[name].kind == "share" for name in names):
        return []
    further = []
    if single and len(names) <= MOST_FACTORS:
        known = {term.factors for term in asked}
        groups = [group for size in range(2, ALIAS_ORDER + 1) for group in combinations(names, size)]
        further = [Term(factors=group) for group in groups if group not in known]
    chains: dict[bytes, list[str]] = {}
    for term in asked:
        if key := _key(model, term):
            chains.setdefault(key, []).append(term.name)
    for term in further:
        if (key := _key(model, term)) in chains:
            chains[key].append(term.name)
    return [tuple(chain) for chain in chains.values() if len(chain) > 1]


def _key(model: Model, term: Term) -> bytes:
    """b"" for what never changes or has several columns."""
    columns = products([model.runs[name] for name in term.factors])
    return alias_key(columns[:, 0]) if columns.shape[1] == 1 else b""
