"""How do whole plots change their hard settings, in many designs at once?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.designs.optimal.exchange import few_of
from analysis.designs.optimal.lanes import GAIN, Lanes
from analysis.designs.optimal.setting import information
from analysis.designs.optimal.starts import SAME
from analysis.designs.optimal.updates import Booleans, Floats, Integers
from analysis.errors import PlanError

MOST_HARD = 500


@dataclass(frozen=True, kw_only=True)
class WholePlots:
    """``setting`` (N,): the hard setting of each candidate, 0 … H - 1.

    ``twin`` (H, N): the candidate with that hard setting that is else like this one, or most like it
    where that may not be baked. ``members`` (N,): candidates by hard setting; those of one setting
    begin at ``first`` and are ``counts`` many (H,). ``plots``: places of each whole plot.
    """

    setting: Integers
    twin: Integers
    members: Integers
    first: Integers
    counts: Integers
    plots: tuple[slice, ...]

    @staticmethod
    def among(terms: Floats, hard: Integers, easy: Integers, plots: tuple[slice, ...]) -> WholePlots:
        """From the caller's numbers of hard and easy settings (N,) and the scaled terms (N, p)."""
        if hard.shape != (len(terms),) or easy.shape != hard.shape:
            raise PlanError(
                f"{len(terms)} candidates come with {hard.shape} hard and {easy.shape} easy settings.",
                where="hard-to-change factors",
                try_this="one number for each candidate",
            )
        _, setting, counts = np.unique(hard, return_inverse=True, return_counts=True)
        if len(counts) > MOST_HARD:
            raise PlanError(
                f"The hard-to-change factors have {len(counts)} settings together, more than {MOST_HARD}.",
                where="hard-to-change factors",
                try_this="fewer levels for them",
            )
        members = np.argsort(setting, kind="stable")
        return WholePlots(
            setting=setting,
            twin=_twins(terms, setting, np.unique(easy, return_inverse=True)[1], len(counts)),
            members=members,
            first=np.cumsum(counts) - counts,
            counts=counts,
            plots=plots,
        )

    def draw(self, generator: np.random.Generator, s: int) -> Integers:
        """(s, n): a random hard setting for each whole plot, random candidates that have it."""
        return np.concatenate(
            [
                self._any_with(generator, generator.integers(0, len(self.counts), s)[:, None].repeat(size, axis=1))
                for size in (plot.stop - plot.start for plot in self.plots)
            ],
            axis=1,
        )

    def _any_with(self, generator: np.random.Generator, setting: Integers) -> Integers:
        """A random candidate with each of these hard settings."""
        return self.members[self.first[setting] + generator.integers(0, self.counts[setting])]

    def change(self, generator: np.random.Generator, designs: Integers) -> Integers:
        """Another hard setting for one whole plot of each design (s, n), and a few other runs."""
        out = designs.copy()
        s, n = len(designs), designs.shape[1]
        lane = np.arange(s)[:, None]
        moved = generator.integers(0, len(self.plots), s)
        to = generator.integers(0, len(self.counts), s)
        for number, plot in enumerate(self.plots):
            here = moved == number
            out[here, plot] = self.twin[to[here, None], out[here, plot]]
        places = generator.permuted(np.tile(np.arange(n), (s, 1)), axis=1)[:, : few_of(n)]
        out[lane, places] = self._any_with(generator, self.setting[out[lane, places]])
        return out

    def sweep(self, lanes: Lanes) -> Booleans:
        """Each whole plot takes its best hard setting, then each of its runs its best candidate; (s,) what changed."""
        changed = np.zeros(len(lanes.chosen), dtype=np.bool_)
        for plot in self.plots:
            changed |= self._reset(lanes, plot)
            allowed = self.setting[None, :] == self.setting[lanes.chosen[:, plot.start]][:, None]
            for at in range(plot.start, plot.stop):
                changed |= lanes.improve(at, allowed)
        return changed

    def _reset(self, lanes: Lanes, plot: slice) -> Booleans:
        """Give the whole plot the hard setting that is best with the other factors as they are."""
        options = np.swapaxes(self.twin[:, lanes.chosen[:, plot]], 0, 1)  # (s, H, m)
        now = lanes.chosen[:, plot][:, None, :]
        merit = self._merit(lanes, plot, np.concatenate([now, options], axis=1))
        better = merit[:, 1:].max(axis=1) > merit[:, 0] + GAIN
        if better.any():
            moved = np.flatnonzero(better)
            best = np.argmax(merit[moved, 1:] >= merit[moved, 1:].max(axis=1, keepdims=True) - SAME, axis=1)
            lanes.chosen[moved, plot] = options[moved, best]
            lanes.refresh(moved)
        return better

    @staticmethod
    def _merit(lanes: Lanes, plot: slice, options: Integers) -> Floats:
        """(s, k) log |M|, or -log of the average variance, with each of k sets of runs (s, k, m) in this plot."""
        around, terms = lanes.field.around, lanes.field.terms
        columns = np.broadcast_to(around.blocks[plot], (*options.shape, around.blocks.shape[1]))
        here = information(
            np.concatenate([terms[options], columns], axis=3), (slice(0, options.shape[2]),), around.ratio
        )
        total = around.information(terms[lanes.chosen]) + lanes.ridge[:, None, None] * np.eye(here.shape[-1])
        total = (total - here[:, 0])[:, None] + here
        sign, log_det = np.linalg.slogdet(total)
        if lanes.field.moments is None:
            return np.where(sign > 0, log_det, -np.inf)
        told = (sign > 0) & np.isfinite(log_det)
        usable = np.where(told[..., None, None], total, np.eye(here.shape[-1]))
        variance = np.einsum("skij,ji->sk", np.linalg.inv(usable), lanes.field.moments)
        told &= variance > 0
        return np.where(told, -np.log(np.where(told, variance, 1.0)), -np.inf)


def _twins(terms: Floats, setting: Integers, easy: Integers, count: int) -> Integers:
    """(H, N), as ``WholePlots.twin``."""
    table = np.full((count, int(easy.max()) + 1), -1)
    backwards = np.arange(len(setting))[::-1]
    table[setting[backwards], easy[backwards]] = backwards  # the first of equal candidates stays
    twin = table[:, easy]
    for other in range(count):
        lost = np.flatnonzero(twin[other] < 0)
        group = np.flatnonzero(setting == other)
        for part in np.array_split(lost, max(len(lost) * len(group) // 1_000_000, 1)):
            if len(part):
                twin[other, part] = group[_distances(terms[part], terms[group]).argmin(axis=1)]
    return twin


def _distances(left: Floats, right: Floats) -> Floats:
    """Squared distances (a, b), rounded so that equal ones stay equal."""
    squares = (left**2).sum(axis=1)[:, None] + (right**2).sum(axis=1) - 2 * left @ right.T
    return np.round(squares, 9)
