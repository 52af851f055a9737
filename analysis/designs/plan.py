"""Which treatment is baked when, under which code, and what will that be able to tell?

``lay_out`` turns a request into a plan: treatments, blocks, an order and blind codes from
the seed, and a summary that says before baking how surely the bakes will answer.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from analysis.designs.aliases import ALIAS_ORDER, alias_chains
from analysis.designs.arrangement import Arrangement, with_oven_loads
from analysis.designs.blocks import CENTRE
from analysis.designs.catalogue import kind_of
from analysis.designs.cautions import alias_words, lost_to_blocks, plan_warnings
from analysis.designs.codes import blind_codes
from analysis.designs.columns import Column
from analysis.designs.fractions import members
from analysis.designs.judgement import Judgement, judge_design, with_error_to_judge_by
from analysis.designs.levels import Setting, coded
from analysis.designs.mixed_in import MixedIn, mixed_in
from analysis.designs.model import Model, build_model
from analysis.designs.prediction import Prediction, prediction
from analysis.designs.requests import DesignRequest
from analysis.designs.shuffle import ALGORITHM
from analysis.designs.treatments import Property, Settings, Treatments, refuse_too_many


@dataclass(frozen=True, kw_only=True)
class PlannedRun:
    """One treatment to bake. ``place_in_design`` counts in standard order, ``bake_order`` as baked, both from 1.

    ``groups``: group name -> label, outermost first: the block, whole plot, row, oven load.
    ``coded`` gives each amount's place between its low (-1) and high (1) dose, and each share's part of the whole.
    """

    place_in_design: int
    bake_order: int
    block: str | None
    code: str
    settings: Mapping[str, Setting]
    coded: Mapping[str, float]
    groups: Mapping[str, str]

    def to_json(self, units: Mapping[str, str]) -> dict[str, Any]:
        """As the outside reads it; settings are {value, unit}."""
        return {
            "place_in_design": self.place_in_design,
            "bake_order": self.bake_order,
            "block": self.block,
            "groups": dict(self.groups),
            "code": self.code,
            "settings": {
                name: {"value": value, "unit": units.get(name) or None} for name, value in self.settings.items()
            },
            "coded": dict(self.coded),
        }


@dataclass(frozen=True, kw_only=True)
class Design:
    """What the plan can tell. ``aliases`` are chains of terms that cannot be told apart.

    ``resolution`` is None where every combination is baked. ``fixed_groups`` are taken out as
    blocks, ``error_groups`` carry an error of their own, crossed in a strip-plot. ``evenness``:
    factor -> setting -> how often it is baked. ``mixed_in`` tells what a term is mixed with in part.
    """

    kind: str
    model: str
    n_runs: int
    treatments: int
    replicates: int
    centre_points: int
    settings: Mapping[str, tuple[Setting, ...]]
    block: str | None
    blocks: int
    fixed_groups: tuple[str, ...]
    error_groups: tuple[str, ...]
    crossed_groups: bool
    confounded_with_blocks: tuple[str, ...]
    resolution: int | None
    aliases: tuple[tuple[str, ...], ...]
    alias_words: tuple[str, ...]
    mixed_in: MixedIn | None
    judgement: Judgement
    prediction: Prediction | None
    evenness: Mapping[str, Mapping[str, int]]
    properties: Mapping[str, Property]
    seed: int
    algorithm: str = ALGORITHM

    def to_json(self) -> dict[str, Any]:
        judged = self.judgement
        return {
            "kind": self.kind,
            "model": self.model,
            "n_runs": self.n_runs,
            "treatments": self.treatments,
            "replicates": self.replicates,
            "centre_points": self.centre_points,
            "factors": {name: list(doses) for name, doses in self.settings.items()},
            "block": self.block,
            "blocks": self.blocks,
            "fixed_groups": list(self.fixed_groups),
            "error_groups": list(self.error_groups),
            "crossed_groups": self.crossed_groups,
            "confounded_with_blocks": list(self.confounded_with_blocks),
            "resolution": self.resolution,
            "aliases": [list(chain) for chain in self.aliases],
            "alias_words": list(self.alias_words),
            "mixed_in": None if self.mixed_in is None else self.mixed_in.to_json(),
            "terms": list(judged.terms),
            "cannot_tell": list(judged.cannot_tell),
            "df_error": judged.df_error,
            "strata": [dict(stratum) for stratum in judged.strata],
            "judged_by": judged.judged_by,
            "d_efficiency": judged.d_efficiency,
            "prediction": None if self.prediction is None else asdict(self.prediction),
            "half_widths": {name: dict(widths) if widths else None for name, widths in judged.half_widths.items()},
            "power": {name: dict(chances) if chances else None for name, chances in judged.power.items()},
            "evenness": {name: dict(counts) for name, counts in self.evenness.items()},
            "properties": dict(self.properties),
            "reasons": dict(judged.reasons),
            "seed": self.seed,
            "algorithm": self.algorithm,
        }


@dataclass(frozen=True, kw_only=True)
class Plan:
    """``runs`` in bake order. ``warnings`` are plain sentences. ``units``: factor -> unit of its amount or share."""

    runs: tuple[PlannedRun, ...]
    design: Design
    warnings: tuple[str, ...]
    units: Mapping[str, str]

    def to_json(self) -> dict[str, Any]:
        """``runs`` and ``design`` as the outside reads them; settings are {value, unit}."""
        return {
            "runs": [run.to_json(self.units) for run in self.runs],
            "design": self.design.to_json(),
        }


def lay_out(request: DesignRequest) -> Plan:
    """Lay out a design. The same request, seed included, gives the same plan on every platform.

    Raises PlanError, which says what would fit, for anything that cannot be laid out.
    """
    kind = kind_of(request)
    made = kind.make(request)
    arranged = with_oven_loads(kind.arrange(made, request), request)
    refuse_too_many(len(arranged.places), try_this="fewer levels or replicates, or several trials")
    columns = columns_of(made, request)
    runs = _runs(made, arranged, columns, request)
    model = model_of(runs, columns, arranged, request.model or made.model)
    design = design_of(request, made, arranged, model, runs)
    names = [factor.name for factor in request.factors]
    return Plan(
        runs=runs,
        design=design,
        warnings=plan_warnings(request, runs, design, lost_to_blocks(arranged, names)),
        units=units_of(request),
    )


def units_of(request: DesignRequest) -> dict[str, str]:
    """Factor -> unit of its amount or share."""
    return {factor.name: factor.unit for factor in request.factors if factor.kind != "category"}


def columns_of(made: Treatments, request: DesignRequest) -> dict[str, Column]:
    """Factor -> how its settings are coded."""
    found = {}
    for factor in request.factors:
        doses = made.settings[factor.name]
        low, high = -1.0, 1.0
        if factor.kind == "amount":
            low, high = made.ranges.get(factor.name, (float(doses[0]), float(doses[-1])))
        elif factor.kind == "share":
            low, high = 0.0, made.ranges[factor.name][1]
        found[factor.name] = Column(name=factor.name, kind=factor.kind, settings=doses, low=low, high=high)
    return found


def model_of(runs: Sequence[PlannedRun], columns: Mapping[str, Column], arranged: Arrangement, name: Any) -> Model:
    """The model of runs as they stand in their groups."""
    return build_model(
        columns,
        [run.settings for run in runs],
        [run.groups for run in runs],
        model=name,
        fixed=arranged.fixed,
        errors=arranged.errors,
    )


def _runs(
    made: Treatments, arranged: Arrangement, columns: Mapping[str, Column], request: DesignRequest
) -> tuple[PlannedRun, ...]:
    codes = blind_codes(len(arranged.places), seed=request.seed)
    runs = []
    for baked, (at, code) in enumerate(zip(arranged.order, codes, strict=True), start=1):
        place = arranged.places[at]
        settings = _settings(made, place.treatment)
        runs.append(
            PlannedRun(
                place_in_design=at + 1,
                bake_order=baked,
                block=place.groups.get(arranged.block) if arranged.block else None,
                code=code,
                settings=dict(settings),
                coded=coded_settings(settings, columns),
                groups=dict(place.groups),
            )
        )
    return tuple(runs)


def _settings(made: Treatments, place: int) -> Settings:
    if place == CENTRE:
        assert made.centre is not None
        return made.centre
    return made.treatments[place]


def coded_settings(settings: Settings, columns: Mapping[str, Column]) -> dict[str, float]:
    return {
        name: round(
            float(value) / columns[name].high
            if columns[name].kind == "share"
            else coded(float(value), (columns[name].low, columns[name].high)),
            9,
        )
        for name, value in settings.items()
        if columns[name].kind != "category"
    }


def design_of(
    request: DesignRequest, made: Treatments, arranged: Arrangement, model: Model, runs: Sequence[PlannedRun]
) -> Design:
    """What these runs can tell together. Raises PlanError for too few error degrees of freedom."""
    model = with_error_to_judge_by(model, made, request)
    names = [factor.name for factor in request.factors]
    fraction = made.fraction.chains(up_to=ALIAS_ORDER) if made.fraction else []
    chains = [tuple(_term(mask, names) for mask in chain) for chain in fraction] or alias_chains(model)
    mixed = None if made.fraction else mixed_in(model, runs)
    blocks = {run.block for run in runs}
    return Design(
        kind=request.kind,
        model=model.name,
        n_runs=len(runs),
        treatments=len({tuple(treatment.items()) for treatment in made.treatments}),
        replicates=request.replicates,
        centre_points=made.centre_points,
        settings=made.settings,
        block=arranged.block,
        blocks=len(blocks),
        fixed_groups=arranged.fixed,
        error_groups=arranged.errors,
        crossed_groups=arranged.crossed,
        confounded_with_blocks=tuple(_term(mask, names) for mask in arranged.confounded),
        resolution=made.fraction.resolution if made.fraction else None,
        aliases=tuple(chains),
        alias_words=alias_words(made, chains, arranged, names, mixed),
        mixed_in=mixed,
        judgement=judge_design(model, request),
        prediction=prediction(model, made),
        evenness={
            name: {f"{value:g}" if not isinstance(value, str) else value: count for value, count in counted.items()}
            for name in names
            for counted in [_counted(name, runs, made)]
        },
        properties=made.properties,
        seed=request.seed,
    )


def _counted(name: str, runs: Sequence[PlannedRun], made: Treatments) -> dict[Setting, int]:
    """Setting -> how many runs have it, in stored order, centre points last."""
    counts = Counter(run.settings[name] for run in runs)
    return {value: counts[value] for value in dict.fromkeys([*made.settings[name], *counts])}


def _term(mask: int, names: Sequence[str]) -> str:
    return ":".join(names[position] for position in members(mask))
