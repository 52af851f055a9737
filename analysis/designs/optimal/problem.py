"""Can these candidates, runs and blocks tell the model's terms at all?

Checks at the door, and the scaling that keeps every later sum well conditioned: terms are
turned so that over the candidates they are uncorrelated with a mean square of one. Neither
criterion feels that, |X'X| only by a known factor.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.designs.optimal.setting import Surroundings, centred_blocks, information, slices
from analysis.designs.optimal.updates import Floats, Integers
from analysis.errors import PlanError

Criterion = Literal["D", "I"]
RANK_TOLERANCE = 1e-8
MOST_RUNS = 2_000
MOST_STARTS = 100_000


@dataclass(frozen=True, kw_only=True)
class OptimalResult:
    """An exact design and how good it is.

    ``rows``: (runs,) index of the candidate of each run, or (runs, factors) level indexes from
    ``exchange_coordinates``; in the order of the blocks or whole plots asked for, rising within each.
    ``log_det``: log |F'V^-1 F| over held and new runs, F = [terms | centred block columns], V = I
    without whole plots. ``d_efficiency``: 100 |X'V^-1 X|^(1/p) / N over the p terms alone, without
    the blocks, N = held and new runs. ``i_value``: trace of (F'V^-1 F)^-1 times the moments: the
    average variance of a predicted mean, in units of a bake's own variance; None without moments.
    ``starts_used`` local searches were made, ``reached`` of them came to a design as good.
    """

    rows: Integers
    log_det: float
    d_efficiency: float
    i_value: float | None
    starts_used: int
    reached: int


@dataclass(frozen=True, kw_only=True)
class Problem:
    """What is asked, checked. ``turn`` (p, p): terms @ turn are the scaled terms. Held runs come first in blocks."""

    turn: Floats
    around: Surroundings
    moments: Floats | None
    criterion: Criterion
    held: Floats
    held_blocks: Floats
    held_plots: tuple[slice, ...]

    @property
    def scaled_moments(self) -> Floats | None:
        """(P, P) in scaled terms, 0 for blocks; None for the D criterion."""
        if self.criterion == "D":
            return None
        assert self.moments is not None
        p, size = len(self.turn), len(self.around.held)
        padded = np.zeros((size, size))
        padded[:p, :p] = self.turn.T @ self.moments @ self.turn
        return padded

    def result(self, rows: Integers, terms: Floats, *, used: int, reached: int) -> OptimalResult:
        """Figures of the design with these terms (runs, p), in the caller's own scale."""
        p, around = terms.shape[1], self.around
        new, held = around.rows(terms[None])[0], np.hstack([self.held, self.held_blocks])
        total = information(new, around.plots, around.ratio) + information(held, self.held_plots, around.ratio)
        sign, log_det = np.linalg.slogdet(total)
        per_run = 100 * np.exp(np.linalg.slogdet(total[:p, :p])[1] / p) / (len(terms) + len(held))
        variance = None
        if self.moments is not None:  # through the scaled terms, whose inverse can be trusted
            spread = np.eye(len(total))
            spread[:p, :p] = self.turn
            inverse = (spread @ np.linalg.inv(spread.T @ total @ spread) @ spread.T)[:p, :p]
            variance = float(np.sum(inverse * self.moments))
        return OptimalResult(
            rows=rows,
            log_det=float(log_det) if sign > 0 else float("-inf"),
            d_efficiency=float(per_run),
            i_value=variance,
            starts_used=used,
            reached=reached,
        )


def pose(
    sample: Floats,
    runs: int,
    *,
    criterion: Criterion,
    moments: Floats | None,
    fixed: Floats | None,
    blocks: Sequence[int] | None,
    fixed_blocks: Sequence[int] | None,
    plots: Sequence[int] = (),
    fixed_plots: Sequence[int] = (),
    ratio: float = 0.0,
) -> Problem:
    """The checked problem; ``sample`` (N, p) are the candidates, or enough of them to see which terms they tell."""
    p = sample.shape[1]
    held = _held(fixed, p)
    _check_matrix(sample, "candidates", p)
    if criterion not in ("D", "I"):
        raise PlanError(f'"{criterion}" is no criterion.', where="criterion", try_this='criterion = "D" or "I"')
    if not 1 <= runs <= MOST_RUNS:
        raise PlanError(f"{runs} runs cannot be chosen.", where="runs", try_this=f"from 1 to {MOST_RUNS} runs")
    columns, held_columns = _block_columns(runs, len(held), blocks, fixed_blocks)
    _check_count(runs, len(held), p, columns.shape[1])
    turn = _turned(np.vstack([sample, held]), len(sample))
    whole, held_whole = slices(plots), slices(fixed_plots)
    base = information(np.hstack([held @ turn, held_columns]), held_whole, ratio)
    return Problem(
        turn=turn,
        around=Surroundings(blocks=columns, held=base, plots=whole, ratio=ratio),
        moments=_checked_moments(moments, p, criterion),
        criterion=criterion,
        held=held,
        held_blocks=held_columns,
        held_plots=held_whole,
    )


def _held(fixed: Floats | None, p: int) -> Floats:
    if fixed is None:
        return np.zeros((0, p))
    held = np.asarray(fixed, dtype=np.float64).reshape(-1, p) if np.size(fixed) == 0 else np.asarray(fixed, float)
    _check_matrix(held, "runs already baked", p)
    return held


def _check_matrix(matrix: Floats, name: str, p: int) -> None:
    if matrix.ndim != 2 or matrix.shape[1] != p or not p:
        raise PlanError(
            f"The {name} are a table of {matrix.shape} numbers, where {p} terms are wanted.",
            where=name,
            try_this="the same model for candidates and for runs already baked",
        )
    if name == "candidates" and not len(matrix):
        raise PlanError("There is nothing that may be baked.", where=name, try_this="fewer constraints")
    if not np.all(np.isfinite(matrix)):
        raise PlanError(f"The {name} hold a number that is not finite.", where=name, try_this="settings within bounds")


def _checked_moments(moments: Floats | None, p: int, criterion: Criterion) -> Floats | None:
    if moments is None:
        if criterion == "I":
            raise PlanError(
                "The average variance of a prediction needs the region it is averaged over.",
                where="criterion",
                try_this='criterion = "D", or the moments of the region',
            )
        return None
    if moments.shape != (p, p) or not np.all(np.isfinite(moments)):
        raise PlanError(
            f"The moments of the region are {moments.shape} numbers, where {p} by {p} are wanted.",
            where="criterion",
            try_this="the average of x x' over the region",
        )
    return moments


def _block_columns(
    runs: int, held: int, blocks: Sequence[int] | None, fixed_blocks: Sequence[int] | None
) -> tuple[Floats, Floats]:
    """Block columns of new (runs, q) and of held runs (m, q)."""
    if blocks is None:
        return np.zeros((runs, 0)), np.zeros((held, 0))
    before = list(fixed_blocks if fixed_blocks is not None else ([held] if held else []))
    for sizes, count, name in ((blocks, runs, "runs"), (before, held, "runs already baked")):
        if sum(sizes) != count or any(size < 1 for size in sizes):
            raise PlanError(
                f"Blocks of {', '.join(map(str, sizes)) or 'nothing'} do not add up to {count} {name}.",
                where="blocks",
                try_this=f"block sizes that add up to {count}",
            )
    columns = centred_blocks([*before, *blocks])
    return columns[held:], columns[:held]


def _check_count(runs: int, held: int, terms: int, blocks: int) -> None:
    if runs + held >= terms + blocks:
        return
    with_blocks = f" and {blocks} differences between blocks" if blocks else ""
    with_held = f" beside the {held} already baked" if held else ""
    raise PlanError(
        f"Too few runs for the model: {terms} terms{with_blocks} need at least {terms + blocks} runs; "
        f"{runs} are asked for{with_held}.",
        where="runs",
        try_this=f"runs = {terms + blocks - held} or more, or a smaller model",
    )


def _turned(rows: Floats, count: int) -> Floats:
    """(p, p) that makes the terms of ``rows`` uncorrelated; PlanError when they do not tell all terms."""
    norms = np.sqrt(np.mean(rows**2, axis=0))
    usable = np.where(norms > 0, norms, 1.0)
    values = np.linalg.svd(rows / usable, compute_uv=False)
    rank = int(np.sum(values > RANK_TOLERANCE * values[0])) if values[0] > 0 else 0
    p = rows.shape[1]
    if rank < p:
        raise PlanError(
            f"The settings that may be baked tell only {rank} of the model's {p} terms, however many runs are made.",
            where="model",
            try_this="a smaller model, more levels, or fewer constraints",
        )
    upper = np.linalg.qr(rows / usable / np.sqrt(count), mode="r")
    turned: NDArray[np.float64] = np.linalg.solve(upper, np.eye(p)) / usable[:, None]
    return turned


def check_starts(starts: int, seed: int) -> None:
    """Raises PlanError for starts or a seed that cannot be used."""
    if not 1 <= starts <= MOST_STARTS:
        raise PlanError(f"{starts} starts cannot be made.", where="starts", try_this=f"from 1 to {MOST_STARTS} starts")
    if isinstance(seed, bool) or seed < 0:
        raise PlanError(f"The seed {seed} cannot be used.", where="seed", try_this="a whole number from 0 on")


def require_told(merit: float) -> None:
    """Raises PlanError when even the best design found leaves a term untold."""
    if np.isfinite(merit):
        return
    raise PlanError(
        "No design was found that tells all terms of the model with these runs.",
        where="runs",
        try_this="more runs, larger blocks or more whole plots, or a smaller model",
    )
