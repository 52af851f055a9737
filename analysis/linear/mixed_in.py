"""How much of the interactions that were left out passes for the effects of the model?

With X the model's columns and Z those of the pairs and bends it leaves out, the estimates are off
by A = (X'X)^-1 X'Z times the true pairs (the alias matrix; Box & Wilson 1951, J. Royal Statistical
Society B 13:1). Full aliases are told elsewhere; these are the effects that are mixed in part.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from analysis.linear.coding import Term, make_term, term_columns
from analysis.linear.mixed_model import MixedModel
from analysis.linear.selection import Selection
from analysis.linear.stratum import Model, Stratum
from analysis.results import Check, Verdict

Floats = NDArray[np.float64]

SEEN, WORTH_SAYING = 1e-6, 0.1
MOST_FACTORS = 40  # with more, the pairs are too many to go through
LISTED = 12


def check_mixed_in(model: Model, selection: Selection, *, screening: bool) -> Check | None:
    """Asked where single effects stand in for a model with interactions; None elsewhere.

    Facts: ``mixed`` are (term, left-out effect, share of it that goes into the term), the largest
    first, at most twelve; ``n_mixed`` counts all; ``in_error`` tells that the error holds what was
    left out as well.
    """
    factors = [at for at, variable in enumerate(model.variables) if not variable.block]
    wanted = screening or bool(selection.partial)
    if isinstance(model, MixedModel) or len(model.strata) > 1 or not wanted or not 2 <= len(factors) <= MOST_FACTORS:
        return None
    stratum = model.strata[0]
    left = _left_out(model, factors)
    if not left:
        return None
    blocks = [term_columns(model.variables, term) for term in left]
    z = np.hstack(blocks)
    along = stratum.fit.q.T @ z
    shares = stratum.fit.inverse @ along
    mixed = sorted(_parts(model, stratum, left, blocks, shares, selection), key=lambda part: -abs(part[2]))
    beside = float(np.abs(z - stratum.fit.q @ along).max()) > SEEN
    verdict: Verdict = "look here" if mixed and abs(mixed[0][2]) >= WORTH_SAYING else "fine"
    facts = {
        "mixed": tuple(mixed[:LISTED]),
        "n_mixed": len(mixed),
        "largest": abs(mixed[0][2]) if mixed else 0.0,
        "bends": any(term.square for term in left),
        "in_error": beside and stratum.fit.df > 0,
    }
    return Check(check="partly mixed", verdict=verdict, facts=facts)


def _left_out(model: Model, factors: Sequence[int]) -> list[Term]:
    """Pairs, and squares of amounts with three or more settings, that the model does not hold."""
    pairs = list(combinations(factors, 2))
    squares = [(at, at) for at in factors if model.variables[at].amount and len(model.variables[at].levels) > 2]
    terms = [make_term(model.variables, members) for members in [*pairs, *squares]]
    return [term for term in terms if term not in model.terms]


def _parts(
    model: Model,
    stratum: Stratum,
    left: Sequence[Term],
    blocks: Sequence[Floats],
    shares: Floats,
    selection: Selection,
) -> list[tuple[str, str, float]]:
    """(term, left-out effect, share) of every single effect that is mixed in part; of several columns the largest."""
    found, start = [], 0
    for other, block in zip(left, blocks, strict=True):
        own = slice(start, start + block.shape[1])
        start = own.stop
        for term in stratum.terms:
            if term.block or term.order > 1 or other in selection.aliases.get(term, []):
                continue
            part = shares[stratum.spans[term], own]
            share = float(part.flat[np.abs(part).argmax()])
            if abs(share) > SEEN:
                found.append((term.name, other.name, round(share, 9)))
    return found
