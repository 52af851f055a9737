"""How large are the variances of the groups, and what do the treatments do given them?

Restricted maximum likelihood (or maximum likelihood) for any number of nested or crossed groups,
correlated slopes and prior weights: y = X b + sum Z u + e, var(e) = sigma2 / w.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.mixed.climb import HUGE, Summit, climb
from analysis.mixed.criterion import Deviance, deviance
from analysis.mixed.door import check, nothing_within
from analysis.mixed.fit import MixedFit
from analysis.mixed.likelihood import SumJets
from analysis.mixed.preparing import Ready, prepare
from analysis.mixed.results import assemble
from analysis.mixed.screening import layout_of, one_group_left_out, starting_theta, told_apart
from analysis.mixed.terms import FloatArray, RandomTerm

AGREE = 1e-7  # difference of two deviances that count as one


def fit_reml(
    y: FloatArray,
    x: FloatArray,
    terms: Sequence[RandomTerm],
    *,
    weights: FloatArray | None = None,
    method: str = "reml",
) -> MixedFit:
    """``y`` (n,), ``x`` (n, p) of full column rank, ``weights`` (n,) > 0.

    Terms that the data cannot tell apart from the residual, the fixed part or an earlier term are left out
    (``MixedFit.dropped``). Raises TrialDataError for what is no number, NotPossible without scatter, with
    dependent columns, or when all the scatter lies between groups.
    """
    y, x = np.asarray(y, dtype=np.float64), np.asarray(x, dtype=np.float64)
    weights = None if weights is None else np.asarray(weights, dtype=np.float64)
    check(y, x, terms, weights, method)
    ready = prepare(y, x, terms, weights)
    places, dropped = one_group_left_out(ready.terms)
    stay, jets, zero, more = _told_apart(ready, [ready.terms[place] for place in places])
    layout, restricted = layout_of(stay), method == "reml"
    keep = np.arange(layout.size)
    starts = [starting_theta(layout, zero, keep), layout.ones()] if layout.size else [np.zeros(0)]
    ends: list[Summit] = []
    for start in starts:
        ends.append(
            climb(
                lambda gamma: deviance(jets.at(gamma), restricted=restricted),
                layout,
                start,
                ends[0] if ends and ends[0].converged else None,
            )
        )
    best = min(ends, key=lambda end: end.at.value)
    _refuse_runaway(best)
    agreed = sum(abs(end.at.value - best.at.value) < AGREE * max(1.0, abs(best.at.value)) for end in ends)
    return assemble(
        ready, stay, {**dropped, **more}, layout, best.theta, best.at, jets.effects,
        converged=best.converged, starts=agreed if layout.size else 2, method=method,
    )  # fmt: skip


def _told_apart(ready: Ready, terms: list[RandomTerm]) -> tuple[list[RandomTerm], SumJets, Deviance, dict[str, str]]:
    """Terms that stay, their likelihood, its restricted deviance at gamma = 0, and why the others do not."""
    jets = SumJets(ready, terms)
    zero = deviance(jets.at(np.zeros(layout_of(terms).size)))
    sizes = -np.diag(zero.jet.log_det_2)
    stay, dropped = told_apart(terms, zero, sizes)
    if dropped:
        jets = SumJets(ready, stay)
        zero = deviance(jets.at(np.zeros(layout_of(stay).size)))
    return stay, jets, zero, dropped


def _refuse_runaway(end: Summit) -> None:
    if not np.isfinite(end.at.value) or (end.theta.size and np.abs(end.theta).max() >= HUGE):
        raise nothing_within()
