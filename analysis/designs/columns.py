"""How do the settings of a factor become numbers of a model?

As ``analysis.linear`` reads the bakes: an amount is one column from -1 to 1 over its range,
a category of k levels k - 1 columns that add up to zero, a share its part of the whole.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.designs.levels import Setting, coded
from analysis.designs.requests import MIXTURE_MODELS, ModelName

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Column:
    """One factor: its ``settings`` in stored order, and the ``low`` and ``high`` that are coded -1 and 1.

    For a share ``high`` is the whole.
    """

    name: str
    kind: Literal["amount", "category", "share"]
    settings: tuple[Setting, ...]
    low: float = -1.0
    high: float = 1.0

    @property
    def values(self) -> Floats:
        """(k, d): one row of model columns for each setting."""
        return np.array([self.at(setting) for setting in self.settings])

    def at(self, setting: Setting) -> Floats:
        """Model columns of a setting (d,); an amount or share may lie between its settings."""
        if self.kind == "category":
            place = self.settings.index(setting)
            return np.array([-1.0 if place == 0 else float(place == other) for other in range(1, len(self.settings))])
        if self.kind == "share":
            return np.array([float(setting) / self.high])
        return np.array([coded(float(setting), (self.low, self.high))])

    def extremes(self) -> list[tuple[Floats, Floats]]:
        """Pairs to compare: lowest and highest dose, or every two levels."""
        values = self.values
        if self.kind != "category":
            return [(values[0], values[-1])]
        return [(values[a], values[b]) for a, b in combinations(range(len(values)), 2)]


@dataclass(frozen=True, kw_only=True)
class Term:
    """``factors``: names; twice the same name is a square."""

    factors: tuple[str, ...]

    @property
    def name(self) -> str:
        first = self.factors[0]
        return f"{first}^2" if self.factors == (first, first) else ":".join(self.factors)

    @property
    def is_square(self) -> bool:
        return len(set(self.factors)) < len(self.factors)


def wanted_terms(columns: Mapping[str, Column], model: ModelName) -> list[Term]:
    """The terms of a model: main effects, squares, interactions of two factors (of three for the special cubic)."""
    names = list(columns)
    singles = [Term(factors=(name,)) for name in names]
    if model in MIXTURE_MODELS:
        shares = [name for name in names if columns[name].kind == "share"]
        size = {"mixture linear": 1, "mixture quadratic": 2, "mixture special cubic": 3}[model]
        return singles + [Term(factors=group) for k in range(2, size + 1) for group in combinations(shares, k)]
    pairs = [Term(factors=pair) for pair in combinations(names, 2)]
    squares = [
        Term(factors=(name, name))
        for name in names
        if columns[name].kind == "amount" and len(columns[name].settings) > 2
    ]
    return {
        "main effects": singles,
        "interactions": [*singles, *pairs],
        "quadratic": [*singles, *squares, *pairs],
    }[model]


def products(parts: Sequence[Floats]) -> Floats:
    """All products of one column from each part; parts are (n, d), the answer (n, d1 d2 …)."""
    out = parts[0]
    for part in parts[1:]:
        out = (out[:, :, None] * part[:, None, :]).reshape(len(out), -1)
    return out
