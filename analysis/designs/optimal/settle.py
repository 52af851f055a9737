"""Where does a design come to rest when every place takes its best candidate in turn?"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from analysis.designs.optimal.lanes import Field, Lanes
from analysis.designs.optimal.updates import Booleans, Floats, Integers

MOST_PASSES = 100
RIDGE = 1e-3  # lets a design that cannot tell all terms be improved; the terms have a mean square of one
NO_RIDGE = 1e-12
SINGULAR = 1e8  # trace of the inverse above which a design is said not to tell all terms
AT_ONCE = 150_000  # numbers in one array over lanes and candidates: about what a processor's cache holds
MOST_LANES = 200

Sweep = Callable[[Lanes], Booleans]


def sweep_places(lanes: Lanes) -> Booleans:
    """Every place of every lane takes its best candidate; (s,) which lanes changed."""
    changed = np.zeros(len(lanes.chosen), dtype=np.bool_)
    for at in range(lanes.chosen.shape[1]):
        changed |= lanes.improve(at)
    return changed


def settle(field: Field, chosen: Integers, *, sweep: Sweep = sweep_places, numbers: int = 0) -> tuple[Integers, Floats]:
    """Local optima (s, n) reached from ``chosen`` (s, n), and their ``merit`` (s,): see ``merits``.

    ``numbers``: how many the sweep holds for each lane, when they are more than the candidates.
    """
    size = int(np.clip(AT_ONCE // max(len(field.terms), numbers), 1, MOST_LANES))
    parts = [_settle_together(field, chosen[at : at + size], sweep) for at in range(0, len(chosen), size)]
    settled = np.concatenate(parts)
    return settled, merits(field, settled)


def _settle_together(field: Field, chosen: Integers, sweep: Sweep) -> Integers:
    settled, going = chosen.copy(), np.arange(len(chosen))
    for _ in range(MOST_PASSES):
        told = tells_all(field.around.information(field.terms[settled[going]]))
        ridge = np.where(told, NO_RIDGE, RIDGE)
        # Before it tells all terms a design is led by D, for which a ridge does no harm.
        for stage, members in ((field, told), (Field(terms=field.terms, around=field.around), ~told)):
            if members.any():
                lanes = Lanes(stage, settled[going[members]], ridge[members])
                changed = sweep(lanes)
                settled[going[members]] = lanes.chosen
                told[members] = ~changed
        going = going[~told]
        if not len(going):
            break
    return settled


def tells_all(information: Floats) -> Booleans:
    """(s,) is every term told by these designs, with an inverse that can be trusted?"""
    with np.errstate(all="ignore"):
        trace = np.einsum("sii->s", np.linalg.inv(information + NO_RIDGE * np.eye(information.shape[1])))
    return np.asarray((trace > 0) & (trace < SINGULAR))


def merits(field: Field, chosen: Integers) -> Floats:
    """What is to be made large (s,): log |M|, or -log of the average variance; -inf when singular."""
    held = field.around.information(field.terms[chosen])
    return merits_of(held, field.moments)


def merits_of(held: Floats, moments: Floats | None) -> Floats:
    """As ``merits``, of information matrices (s, P, P)."""
    told = tells_all(held)
    out = np.full(len(held), -np.inf)
    if moments is None:
        out[told] = np.linalg.slogdet(held[told])[1]
    else:
        out[told] = -np.log(np.einsum("sij,ji->s", np.linalg.inv(held[told]), moments))
    return out
