"""Which n of these candidates together tell the model best?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.designs.optimal.lanes import Field
from analysis.designs.optimal.problem import Criterion, OptimalResult, check_starts, pose, require_told
from analysis.designs.optimal.setting import slices
from analysis.designs.optimal.settle import settle
from analysis.designs.optimal.starts import Search, best_of
from analysis.designs.optimal.updates import Floats, Integers

MOST_CHANGED = 8


def exchange(
    candidates: Floats,
    runs: int,
    *,
    criterion: Criterion = "D",
    moments: Floats | None = None,
    fixed: Floats | None = None,
    blocks: Sequence[int] | None = None,
    fixed_blocks: Sequence[int] | None = None,
    starts: int = 400,
    seed: int,
) -> OptimalResult:
    """The best exact design of ``runs`` candidates, each of which may be taken more than once.

    ``candidates`` (N, p): the model's terms at every treatment that may be baked. ``criterion``
    "D" makes |F'F| large, "I" the average variance of a predicted mean small. ``moments`` (p, p):
    average of x x' over the region of interest; the average over the candidates when left out.
    ``fixed`` (m, p): terms of runs already baked, which are kept and counted (augmentation).
    ``blocks``: sizes of blocks that follow each other in the result; their effects are taken as
    fixed and unknown. ``fixed_blocks``: the same of the fixed runs, one block when left out, so
    that ``blocks=(n,)`` sets a new session of n runs against the earlier one.

    More ``starts`` find better designs, slower; the same ``seed`` gives the same design on one
    platform, and equal candidates are told apart by their order, not by rounding.

    Raises PlanError when the runs are too few or the candidates cannot tell the model's terms.
    Source: Fedorov 1972; modified exchange of Cook and Nachtsheim 1980; blocks as fixed effects:
    Cook and Nachtsheim 1989, Technometrics 31, 339.
    """
    check_starts(starts, seed)
    candidates = np.asarray(candidates, dtype=np.float64)
    over = candidates.T @ candidates / max(len(candidates), 1) if moments is None else moments
    problem = pose(
        candidates,
        runs,
        criterion=criterion,
        moments=over,
        fixed=fixed,
        blocks=blocks,
        fixed_blocks=fixed_blocks,
    )
    field = Field(terms=candidates @ problem.turn, around=problem.around, moments=problem.scaled_moments)
    count = len(candidates)
    search = Search(
        draw=lambda generator, s: generator.integers(0, count, (s, runs)),
        change=lambda generator, designs: changed(generator, designs, count),
        settle=lambda designs: settle(field, designs),
    )
    best = best_of(search, starts=starts, seed=seed)
    require_told(best.merit)
    rows = rising(best.design, slices(blocks) if blocks else (slice(0, runs),))
    return problem.result(rows, candidates[rows], used=best.used, reached=best.reached)


def changed(generator: np.random.Generator, designs: Integers, count: int) -> Integers:
    """Designs (s, n) with about an eighth of their runs replaced by random candidates below ``count``."""
    n = designs.shape[1]
    few = few_of(n)
    places = generator.permuted(np.tile(np.arange(n), (len(designs), 1)), axis=1)[:, :few]
    out = designs.copy()
    out[np.arange(len(designs))[:, None], places] = generator.integers(0, count, places.shape)
    return out


def few_of(n: int) -> int:
    """How many of n runs a change replaces: measured to find the way from one good design to a better one."""
    return int(np.clip(n // 8, min(2, n), MOST_CHANGED))


def rising(rows: Integers, groups: Sequence[slice]) -> Integers:
    """Indices in rising order within each group: exchanges leave them in an order that means nothing."""
    out = rows.copy()
    for group in groups:
        out[group] = np.sort(out[group])
    return out
