"""What should a baker know about a plan before baking it?

Plain sentences: which effects cannot be told apart, and what the plan will not show.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analysis.designs.arrangement import Arrangement
from analysis.designs.beside_blend import products_not_promised
from analysis.designs.fractions import members
from analysis.designs.judgement import Judgement
from analysis.designs.mixed_in import MixedIn
from analysis.designs.requests import DesignRequest
from analysis.designs.treatments import Treatments
from analysis.words.plurals import several

if TYPE_CHECKING:
    from analysis.designs.plan import Design, PlannedRun


MOST_NAMED = 6  # terms, before "and more"


def _in_words(mask: int, names: Sequence[str]) -> str:
    return " × ".join(names[position] for position in members(mask))


def alias_words(
    made: Treatments,
    chains: Sequence[tuple[str, ...]],
    arranged: Arrangement,
    names: Sequence[str],
    mixed: MixedIn | None,
) -> tuple[str, ...]:
    words = []
    if mixed is not None:
        words.append(_mixed_words(mixed))
    if made.fraction is not None:
        shortest = made.fraction.resolution
        pairs = f", and that of two factors only with those of {shortest - 2} or more" if shortest > 3 else ""
        words.append(
            f"Resolution {shortest}: a single factor's effect is mixed only with interactions of "
            f"{shortest - 1} or more factors{pairs}."
        )
    for chain in chains:
        first, *others = (term.replace(":", " × ") for term in chain)
        words.append(f"{first} cannot be told from {' or '.join(others)}.")
    return (*words, *lost_to_blocks(arranged, names))


def _mixed_words(mixed: MixedIn) -> str:
    clean = "No single effect is mixed with an interaction of two factors or a bend."
    if mixed.largest < 1e-6:
        return clean
    return (
        "Each effect is estimated as if interactions of two factors were nothing; where one is real, "
        f"up to {mixed.largest:.2g} of it goes into the effects of other factors."
    )


def lost_to_blocks(arranged: Arrangement, names: Sequence[str]) -> list[str]:
    return [f"{_in_words(mask, names)} cannot be told from the {arranged.block}." for mask in arranged.confounded]


def plan_warnings(
    request: DesignRequest, runs: Sequence[PlannedRun], design: Design, lost: Sequence[str]
) -> tuple[str, ...]:
    words = []
    if len({tuple(run.settings.items()) for run in runs}) == len(runs):
        words.append("Each treatment is baked once: no two bakes show the spread between bakes.")
    if design.block is not None and design.blocks == 1:
        words.append(f"All runs fall into one {design.block}: nothing is learnt about how one differs from the next.")
    poorest = min((int(each["df_error"]) for each in design.judgement.strata if each["terms"]), default=0)
    if poorest < 3:
        words.append(f"Error degrees of freedom: {poorest}. Judged by {design.judgement.judged_by}.")
    words += _left_out(design)
    words += products_not_promised(
        request.factors,
        [run.settings for run in runs],
        [[run.groups[group] for run in runs] for group in design.fixed_groups],
        model=design.model,
        df_error=design.judgement.df_error,
    )
    words += _constant_in_blocks(runs, design)
    words += _beyond(request, runs)
    words += _out_of_reach(request, runs)
    if design.properties.get("orthogonal_blocks") is False:
        blocks = several(design.block or "block")
        words.append(f"Part of a bend passes for a difference between {blocks}, which makes bends less sure.")
    words += lost
    words += [
        f'"{factor.name}" is hard to change, but this order changes it from bake to bake: '
        "set it afresh each time, or its effect will look surer than it is."
        for factor in request.factors
        if factor.hard_to_change and not _kept_in_plots(factor.name, runs, design)
    ]
    words += _too_wide(request, design.judgement)
    return tuple(words)


def _kept_in_plots(name: str, runs: Sequence[PlannedRun], design: Design) -> bool:
    """Does it stay as it is within every whole plot or strip of one kind?"""
    return any(
        len({(run.groups[group], run.settings[name]) for run in runs}) == len({run.groups[group] for run in runs})
        for group in design.error_groups
    )


def _left_out(design: Design) -> list[str]:
    """Terms that the analysis will leave out, beyond aliases and what is lost to blocks, which are told by name."""
    told = {term for chain in design.aliases for term in chain} | set(design.confounded_with_blocks)
    lost = [term.replace(":", " × ") for term in design.judgement.cannot_tell if ":" in term or term.endswith("^2")]
    lost = [term for term in lost if term.replace(" × ", ":") not in told]
    if not lost:
        return []
    named = ", ".join(lost[:MOST_NAMED]) + (f" and {len(lost) - MOST_NAMED} more" if len(lost) > MOST_NAMED else "")
    return [f"Left out of the analysis, as these runs cannot tell and judge them: {named}."]


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


def _beyond(request: DesignRequest, runs: Sequence[PlannedRun]) -> list[str]:
    """Doses further out than the low and high of the plan: star points."""
    words = []
    for factor in request.factors:
        if factor.kind != "amount" or factor.low is None or factor.high is None:
            continue
        doses = [float(run.settings[factor.name]) for run in runs]
        if min(doses) < factor.low or max(doses) > factor.high:
            words.append(
                f'"{factor.name}" goes beyond its low and high, from {min(doses):.4g} to {max(doses):.4g} '
                f"{factor.unit}".rstrip()
                + ": make sure that these can be baked."
            )
    return words


def _out_of_reach(request: DesignRequest, runs: Sequence[PlannedRun]) -> list[str]:
    """Lows and highs of shares that no blend comes to, because the bounds of the others forbid it."""
    words = []
    for factor in request.factors:
        if factor.kind != "share":
            continue
        parts = [float(run.settings[factor.name]) for run in runs]
        room = 1e-6 * max(parts)
        for bound, near, word in ((factor.low, min(parts), "low"), (factor.high, max(parts), "high")):
            if bound is not None and abs(bound - near) > room:
                words.append(
                    f'No blend comes to the {word} of "{factor.name}" ({bound:g}): {near:.6g} is the nearest, '
                    "because of the bounds of the others."
                )
    return words


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
                f"{response.matters:g}{unit} that matter: more replicates would help, where the number of bakes "
                "allows them."
            )
    return words


def _two_digits(value: float) -> str:
    return f"{value:.2g}" if value < 100 else f"{value:.0f}"
