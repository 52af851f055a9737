"""Which runs tell the model best when there are too many treatments to list?

One factor of one run changes at a time, in every design at once; treatments are never listed,
only made for the levels that are looked at (coordinate exchange: Meyer and Nachtsheim 1995,
Technometrics 37, 60). For a listed candidate set ``exchange`` is faster and finds better designs.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.designs.optimal.exchange import few_of
from analysis.designs.optimal.lanes import GAIN, TILT
from analysis.designs.optimal.problem import Criterion, OptimalResult, Problem, check_starts, pose, require_told
from analysis.designs.optimal.setting import slices
from analysis.designs.optimal.settle import MOST_PASSES, NO_RIDGE, RIDGE, merits_of, tells_all
from analysis.designs.optimal.starts import Search, best_of
from analysis.designs.optimal.updates import Booleans, Exchange, Floats, Integers, dots, times, variance_saved
from analysis.errors import PlanError

Expand = Callable[[Integers], Floats]
Allowed = Callable[[Integers], Booleans]

SAMPLE = 4_096  # random treatments that show which terms can be told
MOST_DRAWS = 200  # rounds of drawing before a constraint is said to leave next to nothing
LANES = 100


def exchange_coordinates(
    levels: Sequence[int],
    expand: Expand,
    runs: int,
    *,
    allowed: Allowed | None = None,
    criterion: Criterion = "D",
    moments: Floats | None = None,
    fixed: Floats | None = None,
    blocks: Sequence[int] | None = None,
    fixed_blocks: Sequence[int] | None = None,
    starts: int = 100,
    seed: int,
) -> OptimalResult:
    """The best exact design over all combinations of ``levels`` (how many each factor has).

    ``expand`` takes level indexes (m, factors) and gives the model's terms (m, p); ``allowed``
    takes the same and tells which may be baked (m,). ``rows`` of the result are level indexes
    (runs, factors). ``moments`` are needed for the criterion "I"; without them ``i_value`` is None.
    The rest as for ``exchange``.

    Raises PlanError as ``exchange`` does, and when next to nothing is allowed.
    Source: Meyer and Nachtsheim 1995.
    """
    check_starts(starts, seed)
    if not levels or min(levels) < 1:
        raise PlanError("A factor without levels cannot be planned.", where="levels", try_this="levels = 3")
    space = _Space(levels=tuple(levels), allowed=allowed)
    sample = expand(space.draw(np.random.Generator(np.random.PCG64(seed)), SAMPLE))
    problem = pose(
        sample,
        runs,
        criterion=criterion,
        moments=moments,
        fixed=fixed,
        blocks=blocks,
        fixed_blocks=fixed_blocks,
    )
    walk = _Walk(space=space, problem=problem, expand=lambda settings: expand(settings) @ problem.turn)
    best = best_of(Search(draw=walk.draw, change=walk.change, settle=walk.settle), starts=starts, seed=seed)
    require_told(best.merit)
    rows = best.design.copy()
    for group in slices(blocks) if blocks else (slice(0, runs),):
        rows[group] = rows[group][np.lexsort(rows[group].T[::-1])]
    return problem.result(rows, expand(rows), used=best.used, reached=best.reached)


@dataclass(frozen=True, kw_only=True)
class _Space:
    levels: tuple[int, ...]
    allowed: Allowed | None

    def may(self, settings: Integers) -> Booleans:
        """(m, factors) -> (m,)."""
        if self.allowed is None:
            return np.ones(len(settings), dtype=np.bool_)
        return np.asarray(self.allowed(settings), dtype=np.bool_)

    def draw(self, generator: np.random.Generator, count: int) -> Integers:
        """Random treatments that may be baked (count, factors)."""
        found = np.zeros((0, len(self.levels)), dtype=np.int64)
        for _ in range(MOST_DRAWS):
            drawn = generator.integers(0, self.levels, (max(count, SAMPLE), len(self.levels)))
            found = np.concatenate([found, drawn[self.may(drawn)]])
            if len(found) >= count:
                return found[:count]
        raise PlanError(
            f"The constraints leave next to none of the treatments: {len(found)} of {MOST_DRAWS * SAMPLE} tried.",
            where="constraint",
            try_this="wider constraints, or fewer levels so that all treatments can be listed",
        )


@dataclass(frozen=True, kw_only=True)
class _Walk:
    """``expand`` gives scaled terms. Designs are (s, runs, factors) of level indexes."""

    space: _Space
    problem: Problem
    expand: Expand

    def terms(self, settings: Integers) -> Floats:
        """(…, factors) -> (…, p)."""
        flat = self.expand(settings.reshape(-1, settings.shape[-1]))
        return flat.reshape(*settings.shape[:-1], flat.shape[1])

    def draw(self, generator: np.random.Generator, s: int) -> Integers:
        runs = self.problem.around.runs
        return self.space.draw(generator, s * runs).reshape(s, runs, -1)

    def change(self, generator: np.random.Generator, designs: Integers) -> Integers:
        s, n = designs.shape[:2]
        places = generator.permuted(np.tile(np.arange(n), (s, 1)), axis=1)[:, : few_of(n)]
        out = designs.copy()
        drawn = self.space.draw(generator, places.size)
        out[np.arange(s)[:, None], places] = drawn.reshape(*places.shape, -1)
        return out

    def settle(self, designs: Integers) -> tuple[Integers, Floats]:
        parts = [self._settle(designs[at : at + LANES].copy()) for at in range(0, len(designs), LANES)]
        settled = np.concatenate(parts)
        held = self.problem.around.information(self.terms(settled))
        return settled, merits_of(held, self.problem.scaled_moments)

    def _settle(self, designs: Integers) -> Integers:
        going = np.arange(len(designs))
        for _ in range(MOST_PASSES):
            held = self.problem.around.information(self.terms(designs[going]))
            told = tells_all(held)
            for members, moments in ((told, self.problem.scaled_moments), (~told, None)):
                if members.any():
                    ridge = NO_RIDGE if told[members][0] else RIDGE
                    inverse = np.asarray(np.linalg.inv(held[members] + ridge * np.eye(held.shape[1])), dtype=np.float64)
                    step = _Sweep(walk=self, chosen=designs[going[members]], inverse=inverse, moments=moments)
                    changed = step.sweep()
                    designs[going[members]] = step.chosen
                    told[members] = ~changed
            going = going[~told]
            if not len(going):
                break
        return designs


@dataclass(kw_only=True)
class _Sweep:
    """One pass over the runs and factors of s designs; ``chosen`` and ``inverse`` (s, P, P) move along."""

    walk: _Walk
    chosen: Integers
    inverse: Floats
    moments: Floats | None

    def sweep(self) -> Booleans:
        changed = np.zeros(len(self.chosen), dtype=np.bool_)
        for at in range(self.chosen.shape[1]):
            for factor, count in enumerate(self.walk.space.levels):
                if count > 1:
                    changed |= self._step(at, factor, count)
        return changed

    def _step(self, at: int, factor: int, count: int) -> Booleans:
        """Give this factor of this run its best level in every design."""
        now = self.chosen[:, at]
        options = np.repeat(now[:, None], count, axis=1)
        options[:, :, factor] = np.arange(count)
        comes = self._rows(options, at)
        lane = np.arange(len(now))
        row = comes[lane, now[:, factor]]
        u = times(self.inverse, row)
        ahead = comes @ self.inverse
        leaves, cross = dots(u, row), np.einsum("skp,sp->sk", comes, u)
        spread = np.einsum("skp,skp->sk", ahead, comes)
        ratio = (1 + spread) * (1 - leaves)[:, None] + cross**2
        worth = ratio - 1 if self.moments is None else self._saved(ratio, leaves, spread, cross, ahead, u)
        worth = worth + np.linspace(0, TILT, count)
        may = self.walk.space.may(options.reshape(-1, options.shape[2])).reshape(len(now), count)
        worth[~may] = -np.inf
        best = worth.argmax(axis=1)
        better = np.flatnonzero((worth[lane, best] > GAIN) & (best != now[:, factor]))
        if len(better):
            picked = best[better]
            made = Exchange(
                u=u[better],
                v=ahead[better, picked],
                leaves=leaves[better],
                comes=spread[better, picked],
                cross=cross[better, picked],
            )
            self.inverse[better] = made.inverse(self.inverse[better])
            self.chosen[better, at, factor] = picked
        return np.isin(lane, better)

    def _rows(self, options: Integers, at: int) -> Floats:
        """(s, k, factors) -> rows of the model (s, k, P) at this place."""
        terms, blocks = self.walk.terms(options), self.walk.problem.around.blocks[at]
        if not len(blocks):
            return terms
        return np.concatenate([terms, np.broadcast_to(blocks, (*terms.shape[:2], len(blocks)))], axis=2)

    def _saved(self, ratio: Floats, leaves: Floats, spread: Floats, cross: Floats, ahead: Floats, u: Floats) -> Floats:
        """What each level saves of the average variance, as a part of it (s, k)."""
        assert self.moments is not None
        weighed = u @ self.moments
        of_coming = np.einsum("skp,skp->sk", ahead @ self.moments, ahead)
        of_cross = np.einsum("skp,sp->sk", ahead, weighed)
        of_leaving = dots(weighed, u)[:, None]
        saved = variance_saved(ratio, leaves[:, None], spread, cross, (of_leaving, of_coming, of_cross))
        return saved / np.einsum("spq,qp->s", self.inverse, self.moments)[:, None]
