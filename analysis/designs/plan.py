"""Which treatment is baked when, under which code, and what will that be able to tell?

``lay_out`` turns a request into a plan: treatments, blocks, an order and blind codes from
the seed, and a summary that says before baking how surely the bakes will answer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import factorial
from typing import Any

from analysis.designs.blocks import CENTRE, Blocks, share_out
from analysis.designs.cautions import alias_words, lost_to_blocks, plan_warnings
from analysis.designs.codes import blind_codes
from analysis.designs.fractions import members
from analysis.designs.judgement import Judgement, judge_design
from analysis.designs.levels import Setting, coded
from analysis.designs.model import build_model
from analysis.designs.requests import DesignRequest
from analysis.designs.shuffle import ALGORITHM, Stream
from analysis.designs.treatments import Treatments, make_treatments

ALIAS_ORDER = 3


@dataclass(frozen=True, kw_only=True)
class PlannedRun:
    """One treatment to bake. ``place_in_design`` counts in standard order, ``bake_order`` as baked, both from 1.

    ``coded`` gives each amount's place between its lowest (-1) and highest (1) dose.
    """

    place_in_design: int
    bake_order: int
    block: str | None
    code: str
    settings: Mapping[str, Setting]
    coded: Mapping[str, float]


@dataclass(frozen=True, kw_only=True)
class Design:
    """What the plan can tell. ``aliases`` are chains of terms that cannot be told apart.

    ``resolution`` is None where every combination is baked.
    """

    kind: str
    n_runs: int
    treatments: int
    replicates: int
    centre_points: int
    settings: Mapping[str, tuple[Setting, ...]]
    block: str | None
    blocks: int
    confounded_with_blocks: tuple[str, ...]
    resolution: int | None
    aliases: tuple[tuple[str, ...], ...]
    alias_words: tuple[str, ...]
    judgement: Judgement
    seed: int
    algorithm: str = ALGORITHM

    def to_json(self) -> dict[str, Any]:
        judged = self.judgement
        return {
            "kind": self.kind,
            "n_runs": self.n_runs,
            "treatments": self.treatments,
            "replicates": self.replicates,
            "centre_points": self.centre_points,
            "factors": {name: list(doses) for name, doses in self.settings.items()},
            "block": self.block,
            "blocks": self.blocks,
            "confounded_with_blocks": list(self.confounded_with_blocks),
            "resolution": self.resolution,
            "aliases": [list(chain) for chain in self.aliases],
            "alias_words": list(self.alias_words),
            "terms": list(judged.terms),
            "cannot_tell": list(judged.cannot_tell),
            "df_error": judged.df_error,
            "judged_by": judged.judged_by,
            "d_efficiency": judged.d_efficiency,
            "half_widths": {name: dict(widths) if widths else None for name, widths in judged.half_widths.items()},
            "reasons": dict(judged.reasons),
            "seed": self.seed,
            "algorithm": self.algorithm,
        }


@dataclass(frozen=True, kw_only=True)
class Plan:
    """``runs`` in bake order. ``warnings`` are plain sentences. ``units``: factor -> unit of its amount."""

    runs: tuple[PlannedRun, ...]
    design: Design
    warnings: tuple[str, ...]
    units: Mapping[str, str]

    def to_json(self) -> dict[str, Any]:
        """``runs`` and ``design`` as the outside reads them; settings are {value, unit}."""
        return {
            "runs": [
                {
                    "place_in_design": run.place_in_design,
                    "bake_order": run.bake_order,
                    "block": run.block,
                    "code": run.code,
                    "settings": {
                        name: {"value": value, "unit": self.units.get(name) or None}
                        for name, value in run.settings.items()
                    },
                    "coded": dict(run.coded),
                }
                for run in self.runs
            ],
            "design": self.design.to_json(),
        }


def lay_out(request: DesignRequest) -> Plan:
    """Lay out a design. The same request, seed included, gives the same plan on every platform.

    Raises PlanError, which says what would fit, for anything that cannot be laid out.
    """
    made = make_treatments(request)
    blocks = share_out(made, request)
    codes = blind_codes(sum(map(len, blocks.members)), seed=request.seed)
    runs = _ordered_runs(made, blocks, codes, request)
    model = build_model(
        made.settings,
        [_settings(made, place) for block in blocks.members for place in block],
        [number for number, block in enumerate(blocks.members) for _ in block],
        squares=request.kind == "dose ladder",
    )
    judgement = judge_design(model, made, request)
    names = [factor.name for factor in request.factors]
    chains = made.fraction.chains(up_to=ALIAS_ORDER) if made.fraction else []
    design = Design(
        kind=request.kind,
        n_runs=len(runs),
        treatments=len(made.treatments),
        replicates=request.replicates,
        centre_points=request.centre_points,
        settings=made.settings,
        block=blocks.name,
        blocks=len(blocks.members),
        confounded_with_blocks=tuple(_term(mask, names) for mask in blocks.confounded),
        resolution=made.fraction.resolution if made.fraction else None,
        aliases=tuple(tuple(_term(mask, names) for mask in chain) for chain in chains),
        alias_words=alias_words(made, chains, blocks, names),
        judgement=judgement,
        seed=request.seed,
    )
    units = {factor.name: factor.unit for factor in request.factors if factor.kind == "amount"}
    return Plan(
        runs=runs,
        design=design,
        warnings=plan_warnings(request, runs, design, lost_to_blocks(blocks, names)),
        units=units,
    )


def _settings(made: Treatments, place: int) -> Mapping[str, Setting]:
    if place == CENTRE:
        assert made.centre is not None
        return made.centre
    return made.treatments[place]


def _ordered_runs(
    made: Treatments, blocks: Blocks, codes: Sequence[str], request: DesignRequest
) -> tuple[PlannedRun, ...]:
    orders = _orders(blocks, request.seed)
    runs: list[PlannedRun] = []
    begun = 0
    for label, block, order in zip(blocks.labels(), blocks.members, orders, strict=True):
        for chosen in order:
            settings = _settings(made, block[chosen])
            runs.append(
                PlannedRun(
                    place_in_design=begun + chosen + 1,
                    bake_order=len(runs) + 1,
                    block=label,
                    code=codes[len(runs)],
                    settings=dict(settings),
                    coded=_coded(settings, made),
                )
            )
        begun += len(block)
    return tuple(runs)


def _orders(blocks: Blocks, seed: int) -> list[list[int]]:
    """A random order for each block; no two blocks of one content share an order while enough orders are left."""
    stream = Stream(seed, "run order")
    used: list[tuple[int, ...]] = []
    orders = []
    for block in blocks.members:
        fresh = len(used) < _different_orders(block) // 2
        order = stream.shuffled(range(len(block)))
        while fresh and tuple(block[place] for place in order) in used:
            order = stream.shuffled(range(len(block)))
        used.append(tuple(block[place] for place in order))
        orders.append(order)
    return orders


def _different_orders(block: Sequence[int]) -> int:
    count = factorial(min(len(block), 20))  # more than enough orders from there on
    for place in set(block) if len(block) <= 20 else ():
        count //= factorial(block.count(place))
    return count


def _coded(settings: Mapping[str, Setting], made: Treatments) -> dict[str, float]:
    return {
        name: round(coded(value, made.settings[name]), 9)  # type: ignore[arg-type]
        for name, value in settings.items()
        if not isinstance(value, str)
    }


def _term(mask: int, names: Sequence[str]) -> str:
    return ":".join(names[position] for position in members(mask))
