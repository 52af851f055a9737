"""Which further treatments does each way of going on ask for?

Replicates and fold-over: Box, Hunter & Hunter, Statistics for Experimenters (2nd ed. 2005), ch. 6;
star points added to a two-level design: Box & Wilson 1951, J. Royal Statistical Society B 13:1;
the runs that tell most given those there are: Fedorov 1972 (D-optimal augmentation).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from analysis.designs.levels import Setting
from analysis.designs.requests import DesignFactor, DesignRequest, ModelName
from analysis.designs.treatments import Settings
from analysis.errors import PlanError

if TYPE_CHECKING:
    from analysis.designs.extending import Standing

Way = Literal["replicates", "centre points", "axial runs", "fold-over", "best", "again", "chosen"]


@dataclass(frozen=True, kw_only=True)
class Further:
    """``count``: replicates, centre points or best runs; ``codes``: the lost runs to bake again;
    ``factor``: fold over this one alone; ``axial``: distance of star points in coded units (1 = face);
    ``model``: the terms the best runs shall tell; ``treatments``: chosen ones, each baked ``count`` times."""

    way: Way
    count: int = 1
    codes: tuple[str, ...] = ()
    factor: str | None = None
    axial: float = 1.0
    model: ModelName | None = None
    treatments: tuple[Settings, ...] = ()


@dataclass(frozen=True)
class New:
    """A treatment to bake; ``stands_for`` the code of the lost run it bakes again."""

    settings: Settings
    stands_for: str | None = None


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """``sets``: new blocks, each of whole plots, each of treatments. ``again``: codes of lost runs to bake again."""

    sets: tuple[tuple[tuple[New, ...], ...], ...] = ()
    again: tuple[str, ...] = ()
    model: ModelName


def further_runs(request: DesignRequest, standing: Standing, further: Further) -> Wanted:
    """Raises PlanError when the way does not fit the trial."""
    if further.way == "again":
        return _again(standing, further)
    if further.count < 1:
        raise PlanError("Nothing would be added.", where="--" + further.way.replace(" ", "-"), try_this="1 or more")
    if standing.errors and further.way != "replicates":
        raise PlanError(
            f"Runs of this trial share whole plots ({', '.join(standing.errors)}): single further runs would have "
            "no whole plot to stand in.",
            where="trial",
            try_this="--replicates 1, which adds whole plots as they are, or plan a new trial",
        )
    if standing.crossed or len(standing.fixed) > 1:
        raise PlanError(
            "Rows and columns cut across each other in this trial, so that it can only be repeated whole.",
            where="trial",
            try_this="plan the same trial again under another name, with another seed",
        )
    makers = {
        "replicates": _replicates,
        "centre points": _centre_points,
        "axial runs": _axial_runs,
        "fold-over": _fold_over,
        "best": _best,
        "chosen": _chosen,
    }
    return makers[further.way](request, standing, further)


def _again(standing: Standing, further: Further) -> Wanted:
    known = {run.code: run for run in standing.runs}
    lost = [run.code for run in standing.runs if run.lost and not run.made_up]
    for code in further.codes:
        if code not in known:
            raise PlanError(f'There is no run "{code}".', where="--again", try_this=", ".join(lost) or "no run is lost")
        if not known[code].lost:
            raise PlanError(
                f"Run {code} neither failed nor was skipped.",
                where="--again",
                try_this=f"{', '.join(lost)}" if lost else "--replicates 1 to bake treatments once more",
            )
    if not (further.codes or lost):
        raise PlanError("No run failed or was skipped.", where="--again", try_this="--replicates 1")
    if standing.errors:
        raise PlanError(
            "A lost run of a whole plot cannot be made up by itself: it would stand in a whole plot of its own.",
            where="--again",
            try_this="--replicates 1, which adds whole plots as they are",
        )
    return Wanted(again=tuple(further.codes or lost), model=standing.model)


def _replicates(request: DesignRequest, standing: Standing, further: Further) -> Wanted:
    """The runs of the first replicate once more, in their blocks and whole plots."""
    once = _first_replicate(standing)
    return Wanted(sets=tuple(once) * further.count, model=standing.model)


def _first_replicate(standing: Standing) -> list[tuple[tuple[New, ...], ...]]:
    """Blocks (of whole plots) that hold every distinct treatment as often as the rarest one stands in the trial."""
    groups: dict[Any, dict[Any, list[Settings]]] = {}
    plot = standing.errors[0] if standing.errors else None
    for run in sorted(standing.runs, key=lambda run: run.place_in_design):
        if run.groups.get("stage", "1") == "1":
            plots = groups.setdefault(run.block, {})
            plots.setdefault(run.groups.get(plot) if plot else None, []).append(run.settings)
    blocks = [tuple(tuple(New(each) for each in members) for members in plots.values()) for plots in groups.values()]
    if len(blocks) == 1:
        return [_once(blocks[0], split=plot is not None)]
    met = Counter(_key(run.settings) for run in standing.runs if run.groups.get("stage", "1") == "1")
    times = min(met.values())
    chosen: list[tuple[tuple[New, ...], ...]] = []
    have: Counter[Any] = Counter()
    for block in blocks:
        chosen.append(block)
        have.update(_key(new.settings) for members in block for new in members)
        if all(have[key] * times >= count for key, count in met.items()):
            break
    # A block of several sets holds a replicate in one of them.
    return chosen if len(chosen) > 1 else [_once(chosen[0], split=plot is not None)]


def _once(block: tuple[tuple[New, ...], ...], *, split: bool) -> tuple[tuple[New, ...], ...]:
    """One block without the repeats that it holds of whole plots (``split``) or of treatments."""
    units = list(block) if split else [(new,) for members in block for new in members]
    kinds: dict[Any, list[tuple[New, ...]]] = {}
    for unit in units:
        kinds.setdefault(tuple(sorted(_key(new.settings) for new in unit)), []).append(unit)
    times = min(len(alike) for alike in kinds.values())
    kept = [unit for alike in kinds.values() for unit in alike[: len(alike) // times]]
    return tuple(kept) if split else (tuple(new for unit in kept for new in unit),)


def _key(settings: Settings) -> tuple[tuple[str, Setting], ...]:
    return tuple(sorted(settings.items()))


def _amounts(request: DesignRequest, what: str) -> list[DesignFactor]:
    others = [factor.name for factor in request.factors if factor.kind != "amount"]
    if others:
        raise PlanError(
            f"{what} need amounts only: {others[0]} has no middle and no distance.",
            where=f"factor {others[0]}",
            try_this="--replicates 1, or --best 6",
        )
    return list(request.factors)


def _bounds(standing: Standing, name: str) -> tuple[float, float]:
    doses = [float(run.settings[name]) for run in standing.runs]
    return min(doses), max(doses)


def _middle(request: DesignRequest, standing: Standing) -> Settings:
    return {
        factor.name: float(f"{sum(_bounds(standing, factor.name)) / 2:.12g}")
        for factor in _amounts(request, "Centre points")
    }


def _centre_points(request: DesignRequest, standing: Standing, further: Further) -> Wanted:
    middle = _middle(request, standing)
    return Wanted(sets=((tuple(New(middle) for _ in range(further.count)),),), model=standing.model)


def _axial_runs(request: DesignRequest, standing: Standing, further: Further) -> Wanted:
    """Two star points for each amount; ``count`` centre points go with them, since another day may differ."""
    amounts = _amounts(request, "Star points")
    if further.axial <= 0:
        raise PlanError("Star points at no distance are the centre.", where="--axial", try_this="--axial 1")
    middle = _middle(request, standing)
    stars = []
    for factor in amounts:
        low, high = _bounds(standing, factor.name)
        for sign in (-1, 1):
            dose = float(f"{middle[factor.name] + sign * further.axial * (high - low) / 2:.12g}")  # type: ignore[operator]
            if factor.weighed and dose < 0:
                raise PlanError(
                    f"A star point would weigh {dose:g} {factor.unit} of {factor.name}.",
                    where=f"factor {factor.name}",
                    try_this="--axial 1, which stays between the lowest and the highest dose",
                )
            stars.append(New({**middle, factor.name: dose}))
    return Wanted(sets=((tuple(stars + [New(middle)] * further.count),),), model="quadratic")


def _fold_over(request: DesignRequest, standing: Standing, further: Further) -> Wanted:
    """Every run again with all factors, or the one named, at their other level."""
    names = [factor.name for factor in request.factors]
    if further.factor is not None and further.factor not in names:
        raise PlanError(f'No factor is called "{further.factor}".', where="--fold-over", try_this=", ".join(names))
    shares = [factor.name for factor in request.factors if factor.kind == "share"]
    if shares:
        raise PlanError(
            f"A fold-over turns levels round; {shares[0]} is a share, and turned round the shares make no whole.",
            where=f"factor {shares[0]}",
            try_this="--replicates 1, or --best 6",
        )
    corners = [run for run in standing.runs if run.groups.get("stage", "1") == "1"]
    levels: dict[str, list[Setting]] = {}
    for name in names:
        met = {run.settings[name] for run in corners}
        two: list[Setting] = sorted(met, key=str)
        if not any(isinstance(each, str) for each in met):
            doses = sorted(float(each) for each in met)
            centre = (doses[0] + doses[-1]) / 2
            two = [dose for dose in doses if abs(dose - centre) > 1e-9 * max(1.0, abs(centre))]
        if len(two) != 2:
            raise PlanError(
                f"A fold-over turns two levels round; {name} has {len(met)}.",
                where=f"factor {name}",
                try_this="--replicates 1, or --best 6",
            )
        levels[name] = two
    turned = [further.factor] if further.factor else names
    new = []
    for run in corners:
        if any(run.settings[name] not in levels[name] for name in names):
            continue  # a centre point stays where it is
        other = {name: next(each for each in levels[name] if each != run.settings[name]) for name in turned}
        new.append(New({**run.settings, **other}))
    if not new:
        raise PlanError("No run has two levels to turn round.", where="trial", try_this="--replicates 1")
    return Wanted(sets=((tuple(new),),), model="interactions")


def _chosen(request: DesignRequest, standing: Standing, further: Further) -> Wanted:
    """The treatments that were named, each ``count`` times."""
    if not further.treatments:
        raise PlanError("No treatment is named.", where="--bake", try_this=_example(standing))
    for treatment in further.treatments:
        _require_fitting(request, standing, treatment)
    new = tuple(New(treatment) for _ in range(further.count) for treatment in further.treatments)
    return Wanted(sets=((new,),), model=standing.model)


def _require_fitting(request: DesignRequest, standing: Standing, treatment: Settings) -> None:
    names = [factor.name for factor in request.factors]
    unknown = [name for name in treatment if name not in names]
    missing = [name for name in names if name not in treatment]
    if unknown or missing:
        what = f'No factor is called "{unknown[0]}".' if unknown else f'The treatment does not say "{missing[0]}".'
        raise PlanError(what, where="--bake", try_this=_example(standing))
    for factor in request.factors:
        setting = treatment[factor.name]
        if factor.kind == "category" and setting not in factor.levels:
            raise PlanError(
                f'"{setting}" is no level of "{factor.name}".', where="--bake", try_this=", ".join(factor.levels)
            )
        if factor.kind != "category" and isinstance(setting, str):
            raise PlanError(
                f'"{setting}" is no amount of "{factor.name}".', where="--bake", try_this=_example(standing)
            )
        if factor.weighed and float(setting) < 0:
            raise PlanError(f"{factor.name} cannot weigh {setting}.", where="--bake", try_this=f"{factor.name}=0")
    shares = [factor for factor in request.factors if factor.kind == "share"]
    total = sum(float(treatment[factor.name]) for factor in shares)
    if shares and abs(total - (shares[0].total or 1.0)) > 1e-6 * (shares[0].total or 1.0):
        raise PlanError(
            f"The shares add up to {total:g}, not to {shares[0].total or 1.0:g}.",
            where="--bake",
            try_this=_example(standing),
        )


def _example(standing: Standing) -> str:
    settings = standing.runs[0].settings
    told = ", ".join(
        f"{name}={value:g}" if isinstance(value, float) else f"{name}={value}" for name, value in settings.items()
    )
    return f'--bake "{told}"'


def _best(request: DesignRequest, standing: Standing, further: Further) -> Wanted:
    from analysis.designs.best_further import best_further

    model: ModelName = further.model or standing.model
    chosen: Sequence[Settings] = best_further(request, standing, further.count, model)
    return Wanted(sets=((tuple(New(settings) for settings in chosen),),), model=model)
