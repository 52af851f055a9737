"""Which runs go on from what was baked, and what can all of them tell together?

Each way keeps every run there is: replicates, centre points, star points of a surface, a
fold-over, a failed run once more, or the further runs that tell most. What is added later is
a block of its own, since another day may differ from the first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from analysis.designs.arrangement import Arrangement, Place
from analysis.designs.cautions import plan_warnings
from analysis.designs.codes import blind_codes
from analysis.designs.further import Further, New, Wanted, further_runs
from analysis.designs.plan import Design, PlannedRun, coded_settings, columns_of, design_of, model_of, units_of
from analysis.designs.requests import DesignRequest
from analysis.designs.shuffle import Stream
from analysis.designs.treatments import Settings, Treatments, settings_of
from analysis.errors import PlanError

STAGE = "stage"  # the group that tells what was planned first from what was added
EXTENDED = "extended"


@dataclass(frozen=True, kw_only=True)
class ExistingRun:
    """A run of the trial as it stands. ``lost``: it failed or was skipped, so that nothing is known of it;
    ``made_up``: another run is there to bake it again."""

    place_in_design: int
    bake_order: int
    code: str
    settings: Settings
    block: str | None = None
    groups: Mapping[str, str]
    lost: bool = False
    baked: bool = False
    made_up: bool = False


@dataclass(frozen=True, kw_only=True)
class Standing:
    """The trial so far: its runs, what its runs stand in, and the terms it was made to tell."""

    runs: tuple[ExistingRun, ...]
    block: str | None
    fixed: tuple[str, ...]
    errors: tuple[str, ...]
    crossed: bool
    model: Any
    stages: int = 1

    @property
    def known(self) -> tuple[ExistingRun, ...]:
        """The runs that tell something, or may still."""
        return tuple(run for run in self.runs if not run.lost)


@dataclass(frozen=True, kw_only=True)
class AddedRun:
    """A further run; ``stands_for`` is the code of the lost run that it bakes again."""

    run: PlannedRun
    stands_for: str | None


@dataclass(frozen=True, kw_only=True)
class Extended:
    """What is added, and what the whole can tell with it."""

    added: tuple[AddedRun, ...]
    design: Design
    warnings: tuple[str, ...]
    units: Mapping[str, str]


def extend(request: DesignRequest, standing: Standing, further: Further) -> Extended:
    """Lay out further runs. ``request`` holds the trial's factors and responses and the seed of the extension.

    Raises PlanError when the trial cannot be extended that way; nothing of what is there changes.
    """
    if not standing.runs:
        raise PlanError("The trial has no runs to go on from.", where="trial", try_this="plan it first")
    wanted = further_runs(request, standing, further)
    places = _placed(request, standing, wanted)
    added = _added(request, standing, places)
    return _described(request, standing, added, wanted.model)


@dataclass(frozen=True)
class _Placed:
    new: New
    groups: Mapping[str, str]


def _placed(request: DesignRequest, standing: Standing, wanted: Wanted) -> list[_Placed]:
    """New runs in bake order within the blocks and whole plots they stand in."""
    stream = Stream(request.seed, f"extension {standing.stages}")
    again = [_again(standing, code) for code in wanted.again]
    kept = [run for run in again if _block_is_open(standing, run)]
    placed = [_Placed(New(run.settings, run.code), run.groups) for run in stream.shuffled(kept)]
    late = tuple(New(run.settings, run.code) for run in again if run not in kept)
    crossing = {run.code: _crossing(standing, run) for run in again}
    sets = [*wanted.sets, *([(late,)] if late else [])]
    labels = _next_labels(standing, standing.block, len(sets)) if standing.block else [""] * len(sets)
    plots = _next_labels(standing, standing.errors[0], sum(map(len, sets))) if standing.errors else []
    for label, plots_of_set in zip(labels, sets, strict=True):
        outer = {standing.block: label} if standing.block else {STAGE: str(standing.stages + 1)}
        for members in stream.shuffled(plots_of_set):
            groups = {**outer, **({standing.errors[0]: plots.pop(0)} if plots else {})}
            placed += [
                _Placed(new, {**groups, **crossing.get(new.stands_for or "", {})}) for new in stream.shuffled(members)
            ]
    return placed


def _crossing(standing: Standing, run: ExistingRun) -> dict[str, str]:
    """Where a run of a square stands besides its block: baked later, it still takes its own row and column."""
    return {name: run.groups[name] for name in standing.fixed if name not in (standing.block, STAGE)}


def _again(standing: Standing, code: str) -> ExistingRun:
    return next(run for run in standing.runs if run.code == code)


def _block_is_open(standing: Standing, run: ExistingRun) -> bool:
    """Is its block still being baked, so that the run can be made up there?"""
    beside = [other for other in standing.runs if other.block == run.block and other is not run]
    return any(not other.baked and not other.lost for other in beside)


def _next_labels(standing: Standing, group: str, count: int) -> list[str]:
    used = [run.groups[group] for run in standing.runs if group in run.groups]
    numbers = [int(label) for label in used if label.isdecimal()]
    return [str(max(numbers, default=len(set(used))) + step) for step in range(1, count + 1)]


def _added(request: DesignRequest, standing: Standing, placed: Sequence[_Placed]) -> tuple[AddedRun, ...]:
    taken = {run.code for run in standing.runs}
    codes = blind_codes(len(placed), seed=request.seed, taken=taken)
    place = max(run.place_in_design for run in standing.runs)
    order = max(run.bake_order for run in standing.runs)
    return tuple(
        AddedRun(
            run=PlannedRun(
                place_in_design=place + at,
                bake_order=order + at,
                block=each.groups.get(standing.block) if standing.block else None,
                code=code,
                settings=dict(each.new.settings),
                coded={},
                groups=dict(each.groups),
            ),
            stands_for=each.new.stands_for,
        )
        for at, (each, code) in enumerate(zip(placed, codes, strict=True), start=1)
    )


def _described(request: DesignRequest, standing: Standing, added: tuple[AddedRun, ...], model_name: Any) -> Extended:
    before = [
        PlannedRun(
            place_in_design=run.place_in_design,
            bake_order=run.bake_order,
            block=run.block,
            code=run.code,
            settings=run.settings,
            coded={},
            groups=run.groups,
        )
        for run in standing.known
    ]
    staged = any(STAGE in each.run.groups for each in added) or any(STAGE in run.groups for run in before)
    fixed = tuple(dict.fromkeys([*standing.fixed, *([STAGE] if staged else [])]))
    runs = [_with_stage(run, staged) for run in [*before, *(each.run for each in added)]]
    made = _as_treatments(request, runs, model_name)
    whole = replace(request, kind=EXTENDED, replicates=2 if _repeated(runs) else 1, model=None, block=standing.block)
    arranged = Arrangement(
        places=tuple(Place(treatment=at, groups=run.groups) for at, run in enumerate(runs)),
        order=tuple(range(len(runs))),
        block=standing.block,
        fixed=fixed,
        errors=standing.errors,
        crossed=standing.crossed,
    )
    columns = columns_of(made, request)
    model = model_of(runs, columns, arranged, model_name)
    design = design_of(whole, made, arranged, model, runs)
    coded = tuple(
        replace(each, run=replace(each.run, coded=coded_settings(each.run.settings, columns))) for each in added
    )
    warnings = (
        *plan_warnings(whole, runs, design, []),
        *_bend_unseen(design, model.bend),
        *_day_unknown(standing, added),
    )
    return Extended(added=coded, design=design, warnings=warnings, units=units_of(request))


def _bend_unseen(design: Design, told: bool) -> list[str]:
    if not design.centre_points or told:
        return []
    apart = design.block or STAGE
    return [
        f"All centre points stand in a {apart} of their own: a bend cannot be told from the difference between "
        f"one {apart} and the next. They show the spread between bakes; star points (--axial 1) show a bend."
    ]


def _day_unknown(standing: Standing, added: Sequence[AddedRun]) -> list[str]:
    """A new block of one treatment alone: what it shows may all be the day, and its residuals are nought."""
    apart = standing.block or STAGE
    old = {run.groups.get(apart) for run in standing.runs}
    treatments: dict[str, set[str]] = {}
    for each in added:
        label = each.run.groups[apart]
        if label not in old:
            treatments.setdefault(label, set()).add(str(sorted(each.run.settings.items())))
    lonely = [label for label, baked in treatments.items() if len(baked) == 1]
    return [
        f"In {apart} {label} one treatment is baked alone: what it does cannot be told from what that {apart} does. "
        'Bake one that was baked before beside it (--bake "…").'
        for label in lonely
    ]


def _with_stage(run: PlannedRun, staged: bool) -> PlannedRun:
    return replace(run, groups={**run.groups, STAGE: run.groups.get(STAGE, "1")}) if staged else run


def _repeated(runs: Sequence[PlannedRun]) -> bool:
    return len({tuple(sorted(run.settings.items())) for run in runs}) < len(runs)


def _as_treatments(request: DesignRequest, runs: Sequence[PlannedRun], model: Any) -> Treatments:
    """All runs as treatments; centre points of a two-level design are told apart, as the analysis tells them."""
    ranges = {factor.name: (0.0, factor.total or 1.0) for factor in request.factors if factor.kind == "share"}
    stored: dict[str, tuple[Any, ...]] = {factor.name: factor.levels for factor in request.factors}
    treatments = tuple(run.settings for run in runs)
    if model == "interactions" and all(factor.kind == "amount" for factor in request.factors):
        centre = {name: _half_way([float(each[name]) for each in treatments]) for name in stored}
        corners = tuple(each for each in treatments if any(not _near(each[name], centre[name]) for name in stored))
        settings = settings_of(corners, stored)
        if len(corners) < len(treatments) and all(len(doses) == 2 for doses in settings.values()):
            return Treatments(
                treatments=treatments,
                settings=settings,
                centre=centre,
                centre_points=len(treatments) - len(corners),
                model=model,
            )
    return Treatments(treatments=treatments, settings=settings_of(treatments, stored), ranges=ranges, model=model)


def _half_way(doses: Sequence[float]) -> float:
    return (min(doses) + max(doses)) / 2


def _near(setting: Any, dose: float) -> bool:
    return abs(float(setting) - dose) <= 1e-9 * max(1.0, abs(dose))
