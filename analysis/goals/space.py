"""Which treatments lie inside what was baked?

Amounts within their baked range, categories at baked levels, shares within their baked range and
adding up to their whole. A point inside the ranges may still lie in a corner that nobody baked.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product

import numpy as np
from numpy.typing import NDArray

from analysis.predicting import Settings, Span

Floats = NDArray[np.float64]

MOST_COMBINATIONS = 24  # of levels that are searched through
POOL = 2000  # treatments looked at before the search closes in
CLOSE = 1e-6  # of a range: treatments nearer than this are the same


@dataclass(frozen=True, kw_only=True)
class Space:
    """``baked`` are the treatments that were baked, each once.

    ``shares`` are the numbers that add up to ``total``; ``numbers`` are all amounts and shares.
    """

    spans: Mapping[str, Span]
    shares: tuple[str, ...]
    total: float
    baked: Settings

    @cached_property
    def numbers(self) -> tuple[str, ...]:
        return tuple(name for name, span in self.spans.items() if not span.levels)

    @cached_property
    def categories(self) -> tuple[str, ...]:
        return tuple(name for name, span in self.spans.items() if span.levels)

    @cached_property
    def low(self) -> Floats:
        return np.array([self.spans[name].low for name in self.numbers], dtype=np.float64)

    @cached_property
    def high(self) -> Floats:
        return np.array([self.spans[name].high for name in self.numbers], dtype=np.float64)

    @cached_property
    def width(self) -> Floats:
        return np.where(self.high > self.low, self.high - self.low, 1.0)

    @cached_property
    def combinations(self) -> tuple[tuple[str, ...], ...]:
        """Levels of the categories together; only those that were baked when there are very many."""
        every = list(product(*(self.spans[name].levels for name in self.categories)))
        if len(every) <= MOST_COMBINATIONS:
            return tuple(every)
        baked = zip(*(self.baked[name] for name in self.categories), strict=True)
        return tuple(dict.fromkeys(baked))[:MOST_COMBINATIONS]

    def settings(self, numbers: Floats, levels: Sequence[tuple[str, ...]]) -> Settings:
        """Treatments from numbers (m, k) and a combination of levels for each row."""
        data: dict[str, Sequence[float | str] | Floats] = {name: numbers[:, at] for at, name in enumerate(self.numbers)}
        for at, name in enumerate(self.categories):
            data[name] = [row[at] for row in levels]
        return Settings({name: data[name] for name in self.spans})

    def numbers_of(self, settings: Settings) -> Floats:
        """The numbers (m, k) of treatments."""
        return np.array([settings[name] for name in self.numbers], dtype=np.float64).reshape(-1, len(settings)).T

    def repaired(self, numbers: Floats) -> Floats:
        """The nearest numbers inside the ranges; shares are made to add up again."""
        inside = np.clip(numbers, self.low, self.high)
        places = [self.numbers.index(name) for name in self.shares]
        if not places:
            return np.asarray(inside)
        parts, low, high = inside[:, places], self.low[places], self.high[places]
        for _ in range(60):
            missing = self.total - parts.sum(axis=1, keepdims=True)
            room = np.where(missing > 0, high - parts, parts - low)
            whole = room.sum(axis=1, keepdims=True)
            parts = np.clip(parts + missing * room / np.where(whole > 0, whole, 1.0), low, high)
        inside[:, places] = parts
        return np.asarray(inside)

    def pool(self, chance: np.random.Generator) -> Settings:
        """Treatments spread over the whole, what was baked among them; a grid where that is affordable."""
        numbers = self._spread(chance)
        levels = [each for each in self.combinations for _ in numbers]
        spread = self.settings(np.tile(numbers, (len(self.combinations), 1)), levels)
        return Settings({name: np.concatenate([self.baked[name], spread[name]]) for name in self.spans})

    def _spread(self, chance: np.random.Generator) -> Floats:
        each = max(POOL // max(len(self.combinations), 1), 60)
        count = len(self.numbers)
        if count == 0:
            return np.empty((1, 0))
        if not self.shares and count <= 3:
            steps = min(int(each ** (1 / count)), 401)
            sides = [np.linspace(low, high, max(steps, 5)) for low, high in zip(self.low, self.high, strict=True)]
            return np.array(list(product(*sides)), dtype=np.float64)
        return self.repaired(self.low + chance.random((each, count)) * (self.high - self.low))

    def hull(self) -> Hull:
        return Hull(self)

    def is_baked(self, settings: Mapping[str, float | str]) -> bool:
        same = np.ones(len(self.baked), dtype=bool)
        for at, name in enumerate(self.numbers):
            away = np.abs(self.baked[name] - float(settings[name]))
            same &= away <= CLOSE * self.width[at]
        for name in self.categories:
            same &= self.baked[name] == settings[name]
        return bool(same.any())


class Hull:
    """Do bakes lie all round a treatment? Those of its own levels where enough were baked, else all."""

    def __init__(self, space: Space) -> None:
        self.space = space

    def holds(self, settings: Mapping[str, float | str]) -> bool:
        """Is it a mean of baked treatments, with no weight below 0?"""
        from scipy.optimize import nnls

        space = self.space
        if not space.numbers:
            return True
        baked = space.baked
        own = np.ones(len(baked), dtype=bool)
        for name in space.categories:
            own &= baked[name] == settings[name]
        numbers = space.numbers_of(baked)
        points = ((numbers[own] if own.any() else numbers) - space.low) / space.width
        wanted = (np.array([settings[name] for name in space.numbers], dtype=np.float64) - space.low) / space.width
        rows = np.vstack([points.T, np.ones(len(points))])
        _, away = nnls(rows, np.append(wanted, 1.0))
        return bool(away < 1e-4)


def common_spans(all_spans: Sequence[Mapping[str, Span]]) -> dict[str, Span]:
    """What was baked of each factor for every response that knows it."""
    found: dict[str, Span] = {}
    for spans in all_spans:
        for name, span in spans.items():
            found[name] = _both(found[name], span) if name in found else span
    return found


def _both(one: Span, other: Span) -> Span:
    if one.levels or other.levels:
        return Span(name=one.name, levels=tuple(level for level in one.levels if level in other.levels))
    low = max(one.low or 0.0, other.low or 0.0) if None not in (one.low, other.low) else one.low
    high = min(one.high or 0.0, other.high or 0.0) if None not in (one.high, other.high) else one.high
    return Span(name=one.name, low=low, high=high, baked=one.baked)
