"""Which treatments may be baked at all, and how does a model read them?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from analysis.designs.columns import Column, Floats, Term, products, wanted_terms
from analysis.designs.constraints import read_constraints
from analysis.designs.levels import Setting, factor_settings
from analysis.designs.optimal.candidates import limit_points
from analysis.designs.prediction import term_moments
from analysis.designs.requests import MIXTURE_MODELS, DesignRequest, ModelName
from analysis.designs.treatments import Settings
from analysis.errors import PlanError

MOST_CANDIDATES = 60_000
FINER = 5  # levels under constraints, so that some candidates lie on or near the bounds


@dataclass(frozen=True, kw_only=True)
class Region:
    """``points``: every treatment that may be baked, in standard order. ``terms`` (N, p): the model's row of each.

    ``moments`` (p, p): the mean of x x' over what may be asked of the model: the whole box where
    nothing is ruled out, else the points.
    """

    points: tuple[Settings, ...]
    columns: Mapping[str, Column]
    wanted: tuple[Term, ...]
    terms: Floats
    moments: Floats

    def rows(self, treatments: Sequence[Settings]) -> Floats:
        """(m, p): the model's rows of other treatments."""
        return _rows(treatments, self.columns, self.wanted, mean=self.terms.shape[1] > _width(self))


def _width(region: Region) -> int:
    return sum(int(np.prod([region.columns[name].values.shape[1] for name in term.factors])) for term in region.wanted)


def usual_model(request: DesignRequest) -> ModelName:
    """The model a plan is made for when it names none: bends where amounts have three levels or more."""
    if any(factor.kind == "share" for factor in request.factors):
        return "mixture quadratic"
    several = [
        len(factor.values) or factor.n_levels or request.levels or 2
        for factor in request.factors
        if factor.kind == "amount"
    ]
    return "quadratic" if any(count > 2 for count in several) else "interactions"


def region_of(request: DesignRequest, model: ModelName, blends: Sequence[Settings] = ()) -> Region:
    """The candidates of a request. ``blends``: the shares' points, when there are shares.

    Amounts take their values, or evenly spaced levels: three where the model has squares, else two,
    and five under constraints. Amounts that nobody gave levels also take the doses on the limits that
    linear constraints set.
    Raises PlanError when there are too many, or when the constraints leave nothing.
    """
    usual = 3 if model in ("quadratic", *MIXTURE_MODELS) else 2
    count = request.levels or (FINER if request.constraints else usual)
    settings = {
        factor.name: factor_settings(factor, request, default=count)
        for factor in request.factors
        if factor.kind != "share"
    }
    size = max(len(blends), 1) * int(np.prod([len(each) for each in settings.values()], dtype=float))
    if size > MOST_CANDIDATES:
        raise PlanError(
            f"{size:,} treatments could be baked; more than {MOST_CANDIDATES:,} are too many to choose from.",
            where="design",
            try_this="levels = 3 or fewer, or fewer factors",
        )
    points = _with_limits(request, settings, blends)
    kept = _allowed(points, request)
    columns = _columns(request, settings)
    wanted = tuple(wanted_terms(columns, model))
    mean = model not in MIXTURE_MODELS
    terms = _rows(kept, columns, wanted, mean=mean)
    free = len(kept) == len(points) and not blends
    moments = term_moments(columns, wanted, mean=mean) if free else terms.T @ terms / len(terms)
    return Region(points=tuple(kept), columns=columns, wanted=wanted, terms=terms, moments=moments)


def _crossed(settings: Mapping[str, Sequence[Setting]], blends: Sequence[Settings]) -> list[Settings]:
    """All combinations, the first factor changing fastest."""
    backwards = product(*reversed(list(settings.values())))
    others = [dict(zip(settings, reversed(row), strict=True)) for row in backwards]
    return [{**blend, **other} for other in others for blend in (blends or ({},))]


def _with_limits(
    request: DesignRequest, settings: Mapping[str, Sequence[Setting]], blends: Sequence[Settings]
) -> list[Settings]:
    """All combinations of the levels, then those of the doses on the limits that are none of them."""
    points = _crossed(settings, blends)
    ranges = {
        factor.name: (float(settings[factor.name][0]), float(settings[factor.name][-1]))
        for factor in request.factors
        if factor.kind == "amount" and not (factor.values or factor.n_levels or request.levels)
    }
    texts = read_constraints(request.constraints, {factor.name: factor.levels for factor in request.factors})
    tied = limit_points(ranges, texts)
    if not tied:
        return points
    others = {name: each for name, each in settings.items() if name not in tied[0]}
    onto = _crossed(others, [{**blend, **limit} for limit in tied for blend in (blends or ({},))])
    order = list(points[0])
    known = {tuple(point.values()) for point in points}
    ordered = [{name: point[name] for name in order} for point in onto]
    return points + [point for point in ordered if tuple(point.values()) not in known]


def _allowed(points: Sequence[Settings], request: DesignRequest) -> list[Settings]:
    if not request.constraints:
        return list(points)
    levels = {factor.name: factor.levels for factor in request.factors}
    columns = {name: np.array([point[name] for point in points]) for name in points[0]}
    held = np.ones(len(points), dtype=np.bool_)
    for constraint in read_constraints(request.constraints, levels):
        alone = constraint.holds(columns)
        if not (held & alone).any():
            raise PlanError(
                f'No treatment is left: "{constraint.text}" '
                + ("rules out every one." if not alone.any() else "rules out what the constraints before it leave."),
                where="constraint",
                try_this="a looser bound, or a wider low and high",
            )
        held &= alone
    return [point for point, kept in zip(points, held, strict=True) if kept]


def _columns(request: DesignRequest, settings: Mapping[str, Sequence[Setting]]) -> dict[str, Column]:
    found = {}
    for factor in request.factors:
        if factor.kind == "share":
            whole = factor.total or 1.0
            found[factor.name] = Column(name=factor.name, kind="share", settings=(0.0, whole), low=0.0, high=whole)
            continue
        doses = tuple(settings[factor.name])
        ends = (float(doses[0]), float(doses[-1])) if factor.kind == "amount" else (-1.0, 1.0)
        found[factor.name] = Column(name=factor.name, kind=factor.kind, settings=doses, low=ends[0], high=ends[1])
    return found


def _rows(
    treatments: Sequence[Settings], columns: Mapping[str, Column], wanted: Sequence[Term], *, mean: bool
) -> Floats:
    per_factor = {name: np.array([column.at(each[name]) for each in treatments]) for name, column in columns.items()}
    ones = [np.ones((len(treatments), 1))] if mean else []
    return np.hstack([*ones, *(products([per_factor[name] for name in term.factors]) for term in wanted)])
