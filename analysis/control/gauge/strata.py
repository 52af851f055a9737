"""How does the spread come apart when everyone read every piece as often as everyone else?

Mean squares by hand's way; each component is a difference of two of them. A negative one is set to 0,
as a variance cannot be less; sums are taken after that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import fdtrc

from analysis.control.gauge.results import SINGLE, SUMS, Component, ModelName, Stratum
from analysis.control.gauge.study import Study
from analysis.control.gauge.sums import share_limits, sum_limits
from analysis.mixed.terms import FloatArray, IntArray

ROUNDING = 1e-12
TERMS: Mapping[ModelName, tuple[str, ...]] = {
    "one person": ("piece", "repeatability"),
    "nested": ("person", "piece", "repeatability"),
    "without person by piece": ("piece", "person", "repeatability"),
    "with person by piece": ("piece", "person", "person by piece", "repeatability"),
}


@dataclass(frozen=True, kw_only=True)
class Layout:
    """How often everything was read: ``pieces`` by each person, by ``people`` people, ``repeats`` times."""

    model: ModelName
    pieces: float
    people: float
    repeats: float

    @property
    def terms(self) -> tuple[str, ...]:
        """Terms of the table, each with a component of its name; the repeats last."""
        return TERMS[self.model]

    @property
    def expected(self) -> FloatArray:
        """(k, k) what each mean square is on average (rows) as multiples of the components (columns)."""
        r, over_people, over_pieces = self.repeats, self.people * self.repeats, self.pieces * self.repeats
        rows: Mapping[ModelName, list[list[float]]] = {
            "one person": [[r, 1], [0, 1]],
            "nested": [[over_pieces, r, 1], [0, r, 1], [0, 0, 1]],
            "without person by piece": [[over_people, 0, 1], [0, over_pieces, 1], [0, 0, 1]],
            "with person by piece": [[over_people, 0, r, 1], [0, over_pieces, r, 1], [0, 0, r, 1], [0, 0, 0, 1]],
        }
        return np.array(rows[self.model], dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Strata:
    """Mean squares (k,) with their df. ``repeats``: (mean square, df) of repeat readings; None without any."""

    layout: Layout
    mean_sq: FloatArray
    df: tuple[int, ...]
    repeats: tuple[float, int] | None = None

    @cached_property
    def combos(self) -> Mapping[str, FloatArray]:
        """Component -> coefficients (k,) of the mean squares."""
        return dict(zip(self.layout.terms, np.linalg.inv(self.layout.expected), strict=True))

    def combo(self, key: str) -> FloatArray:
        """Coefficients of a component or of a sum of them; those the study cannot tell count nothing."""
        parts = [self.combos[part] for part in SUMS.get(key, (key,)) if part in self.combos]
        total = np.sum(parts, axis=0)
        return np.where(np.abs(total) > ROUNDING * np.abs(total).max(), total, 0.0)


def strata_of(study: Study, *, interaction: bool = True) -> Strata:
    """Of an even study. Without ``interaction`` person by piece is pooled with the repeats (crossed only)."""
    people, named = len(study.people), len(study.pieces)
    between = {term: _between(study.y, codes) for term, codes in (("person", study.person), ("piece", study.piece))}
    within, df = _within(study), study.within_df
    model = model_of(study, interaction=interaction and df > 0)
    sums: list[float]
    dfs: tuple[int, ...]
    if model == "one person":
        sums, dfs = [between["piece"], within], (named - 1, df)
    elif model == "nested":
        sums, dfs = [between["person"], between["piece"] - between["person"], within], (people - 1, named - people, df)
    else:
        both, df_both = _between(study.y, study.cell) - between["piece"] - between["person"], (named - 1) * (people - 1)
        sums, dfs = [between["piece"], between["person"]], (named - 1, people - 1)
        if model == "with person by piece":
            sums, dfs = [*sums, max(both, 0.0), within], (*dfs, df_both, df)
        else:
            sums, dfs = [*sums, max(both, 0.0) + within], (*dfs, df_both + df)
    each = named / people if study.nested else named
    layout = Layout(model=model, pieces=each, people=people, repeats=int(study.counts[0]))
    repeats = (within / df, df) if df else None
    return Strata(layout=layout, mean_sq=np.array(sums) / np.array(dfs), df=dfs, repeats=repeats)


def model_of(study: Study, *, interaction: bool) -> ModelName:
    if len(study.people) == 1:
        return "one person"
    if study.nested:
        return "nested"
    return "with person by piece" if interaction else "without person by piece"


def _between(y: FloatArray, codes: IntArray) -> float:
    """Sum of squares of the group means about the grand mean."""
    count = np.bincount(codes)
    return float((count * (np.bincount(codes, y) / count - y.mean()) ** 2).sum())


def _within(study: Study) -> float:
    """Sum of squares of readings about the mean of their cell."""
    means = np.bincount(study.cell, study.y) / study.counts
    return float(((study.y - means[study.cell]) ** 2).sum())


def table_of(strata: Strata) -> tuple[Stratum, ...]:
    """Mean squares with F against what each is judged by, and against the repeats themselves."""
    mean_sq, terms = strata.mean_sq, strata.layout.terms
    place = {term: i for i, term in enumerate(terms)}
    lines = []
    for i, term in enumerate(terms):
        by = _against(strata.layout.model, term)
        f, p = (None, None) if by is None else _f(mean_sq[i], strata.df[i], mean_sq[place[by]], strata.df[place[by]])
        f_own, p_own = (
            (None, None) if by is None or strata.repeats is None else _f(mean_sq[i], strata.df[i], *strata.repeats)
        )
        lines.append(
            Stratum(
                term=term,
                df=strata.df[i],
                sum_sq=float(mean_sq[i] * strata.df[i]),
                mean_sq=float(mean_sq[i]),
                against=by,
                f=f,
                p=p,
                f_repeatability=f_own,
                p_repeatability=p_own,
            )
        )
    return tuple(lines)


def _against(model: ModelName, term: str) -> str | None:
    """The line whose mean square is the same on average when the term does nothing."""
    if term == "repeatability":
        return None
    if model == "nested" and term == "person":
        return "piece"
    return "person by piece" if model == "with person by piece" and term != "person by piece" else "repeatability"


def _f(upper: float, df: int, lower: float, df_error: int) -> tuple[float | None, float | None]:
    if not lower > 0:
        return None, None
    return float(upper / lower), float(fdtrc(df, df_error, upper / lower))


def components_of(strata: Strata, confidence: float) -> dict[str, Component]:
    """Each component and sum that the study can tell."""
    single = {key: max(0.0, float(strata.combos[key] @ strata.mean_sq)) for key in SINGLE if key in strata.combos}
    out = {}
    for key in (*SINGLE, *SUMS):
        parts = [part for part in SUMS.get(key, (key,)) if part in single]
        if not parts:
            continue
        value = sum(single[part] for part in parts)
        low, high = sum_limits(strata.combo(key), strata.mean_sq, strata.df, confidence)
        exact = np.count_nonzero(strata.combo(key)) == 1
        # Where a part was set to 0 the sum lies above the combination that the limits stand about.
        low, high = min(max(low, 0.0), value), max(high, value)
        method = "chi-squared" if exact else "modified large sample"
        out[key] = Component(key=key, variance=value, low=low, high=high, method=method, boundary=value == 0)
    return out


def share_of(strata: Strata, key: str, confidence: float) -> tuple[float, float]:
    """Limits of the share of the total variance."""
    return share_limits(strata.combo(key), strata.combo("total"), strata.mean_sq, strata.df, confidence)
