"""What should a baker know about a plan before baking it?

Plain sentences: which effects cannot be told apart, and what the plan will not show.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analysis.designs.blocks import Blocks
from analysis.designs.fractions import members
from analysis.designs.judgement import Judgement
from analysis.designs.requests import DesignRequest
from analysis.designs.treatments import Treatments

if TYPE_CHECKING:
    from analysis.designs.plan import Design, PlannedRun


def _in_words(mask: int, names: Sequence[str]) -> str:
    return " × ".join(names[position] for position in members(mask))


def alias_words(
    made: Treatments, chains: Sequence[tuple[int, ...]], blocks: Blocks, names: Sequence[str]
) -> tuple[str, ...]:
    words = []
    if made.fraction is not None:
        shortest = made.fraction.resolution
        pairs = f", and that of two factors only with those of {shortest - 2} or more" if shortest > 3 else ""
        words.append(
            f"Resolution {shortest}: a single factor's effect is mixed only with interactions of "
            f"{shortest - 1} or more factors{pairs}."
        )
    for chain in chains:
        others = " or ".join(_in_words(mask, names) for mask in chain[1:])
        words.append(f"{_in_words(chain[0], names)} cannot be told from {others}.")
    return (*words, *lost_to_blocks(blocks, names))


def lost_to_blocks(blocks: Blocks, names: Sequence[str]) -> list[str]:
    return [f"{_in_words(mask, names)} cannot be told from the {blocks.name}." for mask in blocks.confounded]


def plan_warnings(
    request: DesignRequest, runs: Sequence[PlannedRun], design: Design, lost: Sequence[str]
) -> tuple[str, ...]:
    words = []
    if request.replicates == 1 and not request.centre_points:
        words.append("Each treatment is baked once: no two bakes show the spread between bakes.")
    if design.block is not None and design.blocks == 1:
        words.append(f"All runs fall into one {design.block}: nothing is learnt about how one differs from the next.")
    if design.judgement.df_error < 3:
        words.append(f"Error degrees of freedom: {design.judgement.df_error}. Judged by {design.judgement.judged_by}.")
    words += _constant_in_blocks(runs, design)
    words += lost
    words += [
        f'"{factor.name}" is hard to change, but this order changes it from bake to bake: '
        "set it afresh each time, or its effect will look surer than it is."
        for factor in request.factors
        if factor.hard_to_change
    ]
    words += _too_wide(request, design.judgement)
    return tuple(words)


def _constant_in_blocks(runs: Sequence[PlannedRun], design: Design) -> list[str]:
    """A factor that never changes within a block cannot be told from the blocks."""
    if design.blocks < 2:
        return []
    labels = {run.block for run in runs}
    return [
        f'"{name}" never changes within a {design.block}: its effect cannot be told from it.'
        for name in design.settings
        if all(len({run.settings[name] for run in runs if run.block == label}) == 1 for label in labels)
    ]


def _too_wide(request: DesignRequest, judgement: Judgement) -> list[str]:
    words = []
    for response in request.responses:
        widths = judgement.half_widths.get(response.name)
        single = {factor.name for factor in request.factors}
        wide = [
            name for name, width in (widths or {}).items() if name in single and width > (response.matters or width)
        ]
        if wide:
            named = " and ".join(f"{name} (± {_two_digits(widths[name])})" for name in wide)  # type: ignore[index]
            unit = f" {response.unit}" if response.unit else ""
            words.append(
                f"For {response.name} the effect of {named} would be known less finely than the "
                f"{response.matters:g}{unit} that matter: more replicates would help."
            )
    return words


def _two_digits(value: float) -> str:
    return f"{value:.2g}" if value < 100 else f"{value:.0f}"
