"""Which runs tell the model best when some factors stay as they are for a whole group of bakes?

An oven temperature or a mixed batch is set once for a whole plot; its bakes then share an error.
The information is X'V^-1X with V = I + ratio ZZ', Z telling the whole plots apart. Hard settings
are exchanged for a whole plot at a time, the others run by run
(Goos and Vandebroek 2001, Technometrics 43, 436).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.designs.optimal.exchange import rising
from analysis.designs.optimal.lanes import Field
from analysis.designs.optimal.plots import WholePlots
from analysis.designs.optimal.problem import (
    RANK_TOLERANCE,
    Criterion,
    OptimalResult,
    Problem,
    check_starts,
    pose,
    require_told,
)
from analysis.designs.optimal.setting import slices
from analysis.designs.optimal.settle import settle
from analysis.designs.optimal.starts import Search, best_of
from analysis.designs.optimal.updates import Floats, Integers
from analysis.errors import PlanError


def exchange_split(
    candidates: Floats,
    *,
    hard: Integers,
    easy: Integers,
    plots: Sequence[int],
    ratio: float = 1.0,
    criterion: Criterion = "D",
    moments: Floats | None = None,
    fixed: Floats | None = None,
    fixed_plots: Sequence[int] | None = None,
    blocks: Sequence[int] | None = None,
    fixed_blocks: Sequence[int] | None = None,
    starts: int = 100,
    seed: int,
) -> OptimalResult:
    """The best exact design in whole plots of the sizes ``plots``, which follow each other in the result.

    ``candidates`` (N, p): the model's terms at every treatment. ``hard`` (N,): a number for each
    setting of all hard-to-change factors together, the same for every run of a whole plot; ``easy``
    (N,): the same for the other factors. ``ratio`` >= 0: variance between whole plots over that of a
    bake. ``fixed`` (m, p) with ``fixed_plots`` (sizes): runs already baked in their whole plots.
    The rest as for ``exchange``; a block holds whole plots whole.

    Raises PlanError as ``exchange`` does, and when whole plots are too few for the hard terms.
    Source: Goos and Vandebroek 2001; Goos 2002, The Optimal Design of Blocked and Split-Plot Experiments.
    """
    check_starts(starts, seed)
    candidates = np.asarray(candidates, dtype=np.float64)
    _check_plots(plots, ratio, fixed, fixed_plots, blocks)
    over = candidates.T @ candidates / max(len(candidates), 1) if moments is None else moments
    problem = pose(
        candidates,
        sum(plots),
        criterion=criterion,
        moments=over,
        fixed=fixed,
        blocks=blocks,
        fixed_blocks=fixed_blocks,
        plots=plots,
        fixed_plots=fixed_plots or (),
        ratio=ratio,
    )
    whole = WholePlots.among(candidates @ problem.turn, np.asarray(hard), np.asarray(easy), slices(plots))
    _check_hard_terms(candidates, whole, len(plots) + len(fixed_plots or ()))
    best = best_of(_search(problem, whole, candidates), starts=starts, seed=seed)
    require_told(best.merit)
    rows = rising(best.design, whole.plots)
    return problem.result(rows, candidates[rows], used=best.used, reached=best.reached)


def _search(problem: Problem, whole: WholePlots, candidates: Floats) -> Search:
    field = Field(terms=candidates @ problem.turn, around=problem.around, moments=problem.scaled_moments)
    numbers = len(whole.twin) * len(problem.around.held) ** 2
    return Search(
        draw=whole.draw,
        change=whole.change,
        settle=lambda designs: settle(field, designs, sweep=whole.sweep, numbers=numbers),
    )


def _check_plots(
    plots: Sequence[int],
    ratio: float,
    fixed: Floats | None,
    fixed_plots: Sequence[int] | None,
    blocks: Sequence[int] | None,
) -> None:
    held = 0 if fixed is None else len(fixed)
    if not plots or any(size < 1 for size in plots) or sum(fixed_plots or ()) != held:
        raise PlanError(
            f"Whole plots of {', '.join(map(str, plots)) or 'no'} bakes, and of "
            f"{', '.join(map(str, fixed_plots or ())) or 'no'} bakes for the {held} already baked, do not add up.",
            where="whole plots",
            try_this="one size of at least 1 for each whole plot",
        )
    if not (np.isfinite(ratio) and ratio >= 0):
        raise PlanError(
            f"The variance between whole plots cannot be {ratio} times that of a bake.",
            where="whole plots",
            try_this="a ratio of 0 or more; 1 when nothing is known",
        )
    if blocks and not set(np.cumsum(blocks)) <= set(np.cumsum(plots)):
        raise PlanError(
            f"Blocks of {', '.join(map(str, blocks))} bakes cannot hold whole plots of {', '.join(map(str, plots))}.",
            where="blocks",
            try_this="block sizes that are sums of whole plots",
        )


def _check_hard_terms(candidates: Floats, whole: WholePlots, count: int) -> None:
    """Terms that only hard settings change are told by whole plots, and never by more than there are."""
    of_first = candidates[whole.members[whole.first]]
    constant = np.all(np.abs(candidates - of_first[whole.setting]) <= RANK_TOLERANCE * np.abs(candidates).max(), axis=0)
    needed = int(np.linalg.matrix_rank(of_first[:, constant])) if constant.any() else 0
    if needed > count:
        raise PlanError(
            f"{count} whole plots cannot tell the {needed} terms that only hard-to-change factors move "
            "(the mean counts as one).",
            where="whole plots",
            try_this=f"whole_plots = {needed} or more",
        )
