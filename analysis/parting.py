"""Which bakes would tell two effects apart?

Aliases part in a treatment where they take opposite sides; an interaction that was
left out for cells never baked can be judged once they are.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import product
from typing import Any

from analysis.baked import Treatment, levels_baked, mean_at, treatments_baked
from analysis.questions import Question
from analysis.results import NextBakes, ResponseResult

MOST_FACTORS = 12  # with two levels each, 4,096 treatments are looked through
MOST_CELLS = 8  # listed at a time


def part_aliases(result: ResponseResult, question: Question) -> Iterator[NextBakes]:
    """For the first finding that may matter and has an alias: treatments in which the two part."""
    points = result.family.points
    levels = {factor.name: levels_baked(points, factor.name) for factor in question.factors}
    if any(len(of) != 2 for of in levels.values()) or len(levels) > MOST_FACTORS:
        return
    chains = {chain[0]: chain[1:] for chain in result.family.aliases}
    for finding in result.findings:
        term = ":".join(finding.variables)
        other = next((alias for alias in chains.get(term, ()) if alias.count(":") <= 1), None)
        if finding.matters != "no" and other is not None:
            treatments = _opposite_sides(term, other, levels, treatments_baked(points, question))
            facts = {"terms": (term, other), "response": result.response.name}
            if treatments:
                yield NextBakes(why="break aliases", treatments=tuple(treatments), facts=facts)
                return


def fill_cells(result: ResponseResult, question: Question) -> Iterator[NextBakes]:
    """Combinations of two factors that were never baked, where a term was left out for it."""
    factors = {factor.name for factor in question.factors}
    points = result.family.points
    for check in result.checks:
        names = [name for name in str(check.facts.get("term", "")).split(":") if name in factors]
        if check.check != "empty cells" or len(names) != 2:
            continue
        grid = product(*(levels_baked(points, name) for name in names))
        missing = [
            cell for cell in (dict(zip(names, row, strict=True)) for row in grid) if mean_at(points, cell) is None
        ]
        if missing:
            facts = {"term": ":".join(names), "response": result.response.name}
            yield NextBakes(why="fill empty cells", treatments=tuple(missing[:MOST_CELLS]), facts=facts)


def _opposite_sides(
    one: str, other: str, levels: Mapping[str, Sequence[Any]], baked: Sequence[Treatment]
) -> list[Treatment]:
    """Two treatments, not baked yet, that reverse the relation the terms had in every bake."""

    def side(term: str, treatment: Treatment) -> int:
        return math.prod(1 if treatment[name] == levels[name][1] else -1 for name in term.split(":"))

    relation = side(one, baked[0]) * side(other, baked[0])
    cells = [dict(zip(levels, cell, strict=True)) for cell in product(*levels.values())]
    apart = [cell for cell in cells if cell not in baked and side(one, cell) * side(other, cell) == -relation]
    low = next((cell for cell in apart if side(one, cell) < 0), None)
    high = next((cell for cell in apart if side(one, cell) > 0), None)
    return [cell for cell in (low, high) if cell is not None]
