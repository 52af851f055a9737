"""How does the spread come apart when everyone read every piece as often as everyone else?

Mean squares by hand's way; each component is a difference of two of them. A negative one is set to 0,
as a variance cannot be less; sums are taken after that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import fdtrc

from analysis.control.gauge.results import SINGLE, SUMS, Component, ModelName, Stratum
from analysis.control.gauge.study import Study
from analysis.control.gauge.sums import share_limits, sum_limits
from analysis.mixed.terms import FloatArray


@dataclass(frozen=True, eq=False)
class Strata:
    """Terms with their sums of squares and df, the repeats last; ``combos`` (component -> (k,)) over mean squares."""

    model: ModelName
    terms: tuple[str, ...]
    sum_sq: FloatArray
    df: tuple[int, ...]
    combos: Mapping[str, FloatArray]
    against: Mapping[str, str]
    repeats: tuple[float, int] | None

    @property
    def mean_sq(self) -> FloatArray:
        return np.asarray(self.sum_sq / np.array(self.df), dtype=np.float64)

    def combo(self, key: str) -> FloatArray:
        """Coefficients of a component or of a sum of them; those the study cannot tell count nothing."""
        parts = [self.combos[part] for part in SUMS.get(key, (key,)) if part in self.combos]
        return np.asarray(np.sum(parts, axis=0), dtype=np.float64)


def strata_of(study: Study, *, interaction: bool = True) -> Strata:
    """Of an even study. Without ``interaction`` person by piece is pooled with the repeats (crossed only)."""
    people, r = len(study.people), int(study.counts[0])
    grand = study.y.mean()
    of_person, of_piece, of_cell = (
        _between(study.y, codes, grand) for codes in (study.person, study.piece, study.cell)
    )
    total = float(((study.y - grand) ** 2).sum())
    within = _within(study)
    repeats = (within / study.within_df, study.within_df) if study.within_df else None
    if people == 1:
        terms = ("piece", "repeatability")
        return _made("one person", terms, (of_piece, within), (len(study.pieces) - 1, study.within_df), r, 1, repeats)
    if study.nested:
        df = (people - 1, len(study.pieces) - people, study.within_df)
        sums = (of_person, of_cell - of_person, within)
        each = len(study.pieces) // people
        return _made("nested", ("person", "piece", "repeatability"), sums, df, r, each, repeats)
    pieces = len(study.pieces)
    both = (pieces - 1) * (people - 1)
    if interaction and study.within_df:
        sums4 = (of_piece, of_person, max(of_cell - of_piece - of_person, 0.0), within)
        df4 = (pieces - 1, people - 1, both, study.within_df)
        terms4 = ("piece", "person", "person by piece", "repeatability")
        return _made("with person by piece", terms4, sums4, df4, r, pieces, repeats, people)
    left = max(total - of_piece - of_person, 0.0)
    df3 = (pieces - 1, people - 1, both + study.within_df)
    terms3 = ("piece", "person", "repeatability")
    return _made("without person by piece", terms3, (of_piece, of_person, left), df3, r, pieces, repeats, people)


def _between(y: FloatArray, codes: np.ndarray, grand: float) -> float:
    """Sum of squares of the group means about the grand mean."""
    count = np.bincount(codes)
    return float((count * (np.bincount(codes, y) / count - grand) ** 2).sum())


def _within(study: Study) -> float:
    """Sum of squares of readings about the mean of their cell."""
    means = np.bincount(study.cell, study.y) / study.counts
    return float(((study.y - means[study.cell]) ** 2).sum())


def _made(
    model: ModelName,
    terms: tuple[str, ...],
    sums: tuple[float, ...],
    df: tuple[int, ...],
    r: int,
    pieces: int,
    repeats: tuple[float, int] | None,
    people: int = 1,
) -> Strata:
    """``pieces`` read by each person; expected mean squares of random effects throughout."""
    place = {term: i for i, term in enumerate(terms)}

    def combo(over: int, plus: str, minus: str) -> FloatArray:
        out = np.zeros(len(terms))
        out[place[plus]], out[place[minus]] = 1 / over, -1 / over
        return out

    last = np.zeros(len(terms))
    last[-1] = 1.0
    if model == "one person":
        combos = {"piece": combo(r, "piece", "repeatability")}
        against = {"piece": "repeatability"}
    elif model == "nested":
        combos = {"person": combo(pieces * r, "person", "piece"), "piece": combo(r, "piece", "repeatability")}
        against = {"person": "piece", "piece": "repeatability"}
    else:
        error = "person by piece" if model == "with person by piece" else "repeatability"
        combos = {"person": combo(pieces * r, "person", error), "piece": combo(people * r, "piece", error)}
        against = {"person": error, "piece": error}
        if error != "repeatability":
            combos[error] = combo(r, error, "repeatability")
            against[error] = "repeatability"
    return Strata(
        model=model, terms=terms, sum_sq=np.array(sums), df=df, combos={**combos, "repeatability": last},
        against=against, repeats=repeats,
    )  # fmt: skip


def table_of(strata: Strata) -> tuple[Stratum, ...]:
    """Mean squares with F against what each is judged by, and against the repeats themselves."""
    mean_sq = strata.mean_sq
    place = {term: i for i, term in enumerate(strata.terms)}
    lines = []
    for i, term in enumerate(strata.terms):
        by = strata.against.get(term)
        f, p = (None, None) if by is None else _f(mean_sq[i], strata.df[i], mean_sq[place[by]], strata.df[place[by]])
        f_own, p_own = (
            (None, None) if by is None or strata.repeats is None else _f(mean_sq[i], strata.df[i], *strata.repeats)
        )
        lines.append(
            Stratum(
                term=term,
                df=strata.df[i],
                sum_sq=float(strata.sum_sq[i]),
                mean_sq=float(mean_sq[i]),
                against=by,
                f=f,
                p=p,
                f_repeatability=f_own,
                p_repeatability=p_own,
            )
        )
    return tuple(lines)


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
