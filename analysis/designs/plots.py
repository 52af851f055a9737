"""What is baked when some things cannot be reset for each bake?

A split-plot sets its hard-to-change factors once for a whole plot (an oven at one temperature, one
mixed batter) and everything else for each bake within it. A strip-plot sets one factor for whole
rows and another for whole columns of a block. Both have an error of their own for what is set
seldom (Cochran & Cox 1957, Experimental Designs, ch. 7).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from analysis.designs.arrangement import WHOLE_PLOT, Arrangement, Place, nested, numbered
from analysis.designs.factorials import all_combinations
from analysis.designs.requests import DesignFactor, DesignRequest
from analysis.designs.shuffle import Stream
from analysis.designs.treatments import Treatments, refuse_too_many
from analysis.errors import PlanError


def split_plot(request: DesignRequest) -> Treatments:
    """Every combination once. Raises PlanError unless some factors, not all, are hard to change."""
    hard = _hard(request)
    if not hard:
        raise PlanError(
            "No factor is hard to change, so that every bake can be set afresh.",
            where="design, kind",
            try_this='kind = "full factorial", or hard_to_change = true for what is set once for several bakes',
        )
    if len(hard) == len(request.factors):
        raise PlanError(
            "Every factor is hard to change: each whole plot would hold one treatment.",
            where="design, kind",
            try_this='kind = "complete blocks"',
        )
    return _made(request)


def _hard(request: DesignRequest) -> list[DesignFactor]:
    return [factor for factor in request.factors if factor.hard_to_change]


def _made(request: DesignRequest) -> Treatments:
    made = all_combinations(replace(request, replicates=1), default=2)
    bends = any(factor.kind == "amount" and len(made.settings[factor.name]) > 2 for factor in request.factors)
    return replace(made, signs=None, model="quadratic" if bends else "interactions")


def _by_hard_settings(made: Treatments, names: Sequence[str]) -> list[list[int]]:
    """Positions of the treatments that share their hard-to-change settings, in standard order."""
    groups: dict[tuple[object, ...], list[int]] = {}
    for at, treatment in enumerate(made.treatments):
        groups.setdefault(tuple(treatment[name] for name in names), []).append(at)
    return list(groups.values())


def in_whole_plots(made: Treatments, request: DesignRequest) -> Arrangement:
    """Each whole plot holds every combination of the other factors; each block every whole plot once."""
    plots = _by_hard_settings(made, [factor.name for factor in _hard(request)])
    replicates = _replicates(request, len(plots))
    _require_block_size(request, len(plots) * len(plots[0]))
    refuse_too_many(replicates * len(made.treatments), try_this="fewer levels, replicates or whole plots")
    contents = [plots] * replicates if request.block is not None else [plots * replicates]
    return nested(contents, request, block=request.block, plot=WHOLE_PLOT)


def _replicates(request: DesignRequest, plots: int) -> int:
    """How often each whole-plot treatment is set: from ``whole_plots`` where that is given."""
    wanted = request.whole_plots
    if wanted is None:
        return request.replicates
    sizes = ", ".join(str(plots * count) for count in range(2, 6))
    if wanted < plots or wanted % plots:
        raise PlanError(
            f"{wanted} whole plots do not hold each of the {plots} hard-to-change settings equally often.",
            where="design, whole_plots",
            try_this=f"whole_plots = {sizes} …",
        )
    if request.replicates > 1 and wanted != plots * request.replicates:
        raise PlanError(
            f"{plots} hard-to-change settings set {request.replicates} times are {plots * request.replicates} "
            f"whole plots, not {wanted}.",
            where="design, whole_plots",
            try_this=f"whole_plots = {wanted} with replicates left out, or replicates = {request.replicates} alone",
        )
    return wanted // plots


def _require_block_size(request: DesignRequest, size: int) -> None:
    if request.block_size not in (None, size) or (request.block_size is not None and request.block is None):
        raise PlanError(
            f"A block holds each whole plot once, which makes {size} runs; block_size = {request.block_size} "
            "would cut one or leave some out.",
            where="design, block_size",
            try_this=f'block = "bake day" and block_size = {size}, or leave block_size out',
        )


def strip_plot(request: DesignRequest) -> Treatments:
    """Every combination once. Raises PlanError unless two factors are hard to change and everything has a name."""
    hard = _hard(request)
    if len(hard) != 2:
        raise PlanError(
            f"A strip-plot sets two factors for whole strips; {len(hard)} of this plan are hard to change.",
            where="design, kind",
            try_this='hard_to_change = true for the two, or kind = "split-plot"',
        )
    for key, what in (("rows", "batter batch"), ("columns", "oven load"), ("block", "bake day")):
        if getattr(request, key) is None:
            raise PlanError(f"What are the {key} of a strip-plot?", where="design", try_this=f'{key} = "{what}"')
    if request.replicates < 2:
        raise PlanError(
            "One block of strips leaves nothing to judge them by.",
            where="design, replicates",
            try_this="replicates = 3",
        )
    return _made(request)


def in_strips(made: Treatments, request: DesignRequest) -> Arrangement:
    """In each block a row strip for each level of the first hard factor, a column strip for each of the second.

    The columns (an oven load) are baked one after the other, the rows within them in random order.
    """
    first, second = (factor.name for factor in _hard(request))
    rows, columns, block = str(request.rows), str(request.columns), str(request.block)
    _require_block_size(request, len(made.treatments))
    refuse_too_many(request.replicates * len(made.treatments), try_this="fewer levels or replicates")
    stream = Stream(request.seed, "run order")
    row_levels, column_levels = made.settings[first], made.settings[second]
    row_labels = iter(numbered(len(row_levels) * request.replicates))
    column_labels = iter(numbered(len(column_levels) * request.replicates))
    places: list[Place] = []
    order: list[int] = []
    for label in numbered(request.replicates):
        in_row = {level: next(row_labels) for level in stream.shuffled(row_levels)}
        in_column = {level: next(column_labels) for level in stream.shuffled(column_levels)}
        begun = len(places)
        for at, treatment in enumerate(made.treatments):
            groups = {block: label, rows: in_row[treatment[first]], columns: in_column[treatment[second]]}
            places.append(Place(treatment=at, groups=groups))
        for across in in_column.values():
            members = [at for at in range(begun, len(places)) if places[at].groups[columns] == across]
            order += stream.shuffled(members)
    return Arrangement(
        places=tuple(places), order=tuple(order), block=block, fixed=(block,), errors=(rows, columns), crossed=True
    )
