"""How is a model of scores fitted, and can its numbers be trusted?

Without groups: Newton. With groups: the Laplace approximation from two starts. One kind of group is
checked by 10-point quadrature; where that moves an estimate by more than a twentieth of its standard
error, or a variance by more than a twentieth, the quadrature's figures are the answer. A spread
between groups that comes out as 0 is left out, and said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.scores.climbing import Top, climb, climb_by_slope
from analysis.scores.data import Data
from analysis.scores.shared import Shared

Floats = NDArray[np.float64]
Method = Literal["newton", "laplace", "quadrature"]

NODES = 10
NOTHING = 5e-3  # a standard deviation on the hidden scale below this is the boundary
SHIFT, SWELL = 0.05, 0.05  # what the check by quadrature may move: of a standard error, of a variance
STARTS = (1.0, 0.3)
MANY = 200  # groups from which one start has to do


@dataclass(frozen=True, eq=False, kw_only=True)
class Fit:
    """Parameters: edges (or a constant), effects, then a standard deviation for each kind of group.

    ``boundary`` names groups whose spread came out as 0; ``other`` is the same fit by the other
    approximation, where both were made.
    """

    data: Data
    top: Top
    method: Method
    boundary: tuple[str, ...] = ()
    other: Fit | None = None
    starts_agree: bool = True

    @property
    def loglik(self) -> float:
        return self.top.value

    @property
    def fixed(self) -> int:
        """Parameters before the standard deviations."""
        return self.data.lead + self.data.x.shape[1]

    @property
    def params(self) -> Floats:
        return self.top.params

    @property
    def sds(self) -> Floats:
        return np.abs(self.top.params[self.fixed :])

    @property
    def covariance(self) -> Floats | None:
        return self.top.covariance


def fit(data: Data, *, method: Method | None = None, checked: bool = True) -> Fit:
    """The fit that can be trusted. ``method`` fixes the approximation, ``checked`` False leaves the check out."""
    plain = Fit(data=data, top=fixed_top(data), method="newton")
    if not data.kin:
        return plain
    first, agree = _laplace(data, plain.top, STARTS if checked else STARTS[:1])
    sds = np.abs(first.params[plain.fixed :])
    if sds.min() < NOTHING or first.value <= plain.loglik:
        # The least of the spreads goes first; the others may then stand.
        name = data.kin[int(np.argmin(sds))].name
        rest = fit(data.without(name), method=method, checked=checked)
        return replace(rest, boundary=(name, *rest.boundary))
    laplace = Fit(data=data, top=first, method="laplace", starts_agree=agree)
    if len(data.kin) > 1 or method == "laplace" or not (checked or method):
        return laplace
    shared = Shared(data.problem(), data.kin)
    second, _ = climb_by_slope(lambda params: shared.quadrature(params, NODES), [first.params], _sizes(first))
    quadrature = Fit(data=data, top=second, method="quadrature", starts_agree=agree)
    if method == "quadrature" or moved(laplace, quadrature):
        return replace(quadrature, other=laplace)
    return replace(laplace, other=quadrature)


def fixed_top(data: Data) -> Top:
    """The fit without groups."""
    problem = data.problem()
    return climb(problem.likelihood, data.start(problem.width))


def _laplace(data: Data, plain: Top, starts: Sequence[float]) -> tuple[Top, bool]:
    """The highest top, and whether every start led there. With many groups one start has to do."""
    shared = Shared(data.problem(), data.kin)
    sizes = np.concatenate([_sizes(plain), np.full(len(data.kin), 0.4)])
    chosen = starts if len(shared.own) <= MANY else starts[:1]
    return climb_by_slope(
        shared.laplace, [np.concatenate([plain.params, np.full(len(data.kin), sd)]) for sd in chosen], sizes
    )


def _sizes(top: Top) -> Floats:
    covariance = top.covariance
    return np.ones(len(top.params)) if covariance is None else np.sqrt(np.diag(covariance))


def moved(laplace: Fit, quadrature: Fit) -> bool:
    """Does the check by quadrature move an estimate or a variance by more than it may?"""
    covariance = quadrature.covariance
    if covariance is None or not quadrature.top.reached:
        return False
    fixed = quadrature.fixed
    shift = np.abs(laplace.params - quadrature.params)[:fixed] / np.sqrt(np.diag(covariance))[:fixed]
    swell = np.abs(laplace.sds**2 - quadrature.sds**2) / quadrature.sds**2
    return bool(shift.max(initial=0.0) > SHIFT or swell.max() > SWELL)
