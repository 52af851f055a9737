"""How far is a batch from the usual ones, measured by how its responses go together?

T2, its limits and what drives it; ``analysis.control.several`` makes the chart. With n batches in
the base and p responses the limit is

    (n - 1)^2 / n  Beta(p / 2, (n - p - 1) / 2)              for the batches of the base themselves,
    p (n + 1) (n - 1) / (n (n - p))  F(p, n - p)             for further batches.

Source: Tracy, Young and Mason 1992, J. Quality Technology 24:88; for the terms Mason, Tracy and
Young 1995, J. Quality Technology 27:99.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.control.limits import FEW
from analysis.control.results import Limits, Phase
from analysis.errors import NotPossible, TrialDataError

Floats = NDArray[np.float64]

BATCHES_PER_RESPONSE = 5  # below so many the spread of T2 is poorly known; common practice, no source
SINGULAR = 1e-9  # smallest eigenvalue of a correlation matrix that is not rounding


@dataclass(frozen=True, kw_only=True)
class Base:
    """What the responses do by themselves: means (p,), covariance (p, p), from ``n`` batches."""

    names: tuple[str, ...]
    n: int
    mean: Floats
    covariance: Floats
    alpha: float


@dataclass(frozen=True, kw_only=True)
class Driver:
    """One response's part in an alarm: ``term`` = T2 - T2 without it; ``away`` its own distance in SDs, signed."""

    response: str
    term: float
    away: float


def t_squared(table: Floats, base: Base) -> Floats:
    """T2 of each row of ``table`` (batches, p)."""
    away = table - base.mean
    return np.asarray(np.einsum("ij,ij->i", away, np.linalg.solve(base.covariance, away.T).T))


def drivers(row: Floats, base: Base) -> tuple[Driver, ...]:
    """Each response's part in T2 of one batch, the largest first."""
    whole = float(t_squared(row[None, :], base)[0])
    sds = np.sqrt(np.diag(base.covariance))
    found = []
    for at, name in enumerate(base.names):
        kept = [other for other in range(len(base.names)) if other != at]
        without = replace(base, mean=base.mean[kept], covariance=base.covariance[np.ix_(kept, kept)])
        term = whole - float(t_squared(row[None, kept], without)[0])
        found.append(Driver(response=name, term=term, away=float((row[at] - base.mean[at]) / sds[at])))
    return tuple(sorted(found, key=lambda driver: -driver.term))


def main_drivers(terms: Mapping[str, float]) -> tuple[str, ...]:
    """The responses to name first: those with at least half of the largest term."""
    largest = max(terms.values(), default=0.0)
    return tuple(name for name, term in terms.items() if term >= largest / 2 and math.isfinite(term))


def base_limit(n: int, p: int, alpha: float) -> float:
    """The limit for the batches that the base was made from."""
    from scipy import stats

    return float((n - 1) ** 2 / n * stats.beta.isf(alpha, p / 2, (n - p - 1) / 2))


def further_limit(n: int, p: int, alpha: float) -> float:
    """The limit for batches after the base."""
    from scipy import stats

    return float(p * (n + 1) * (n - 1) / (n * (n - p)) * stats.f.isf(alpha, p, n - p))


def base_from(limits: Limits, names: Sequence[str], *, where: str) -> Base:
    """The base that frozen limits carry. Raises TrialDataError when it is not for these responses."""
    numbers = limits.numbers
    p = len(names)
    try:
        mean = np.array([numbers[f"mean {name}"] for name in names])
        covariance = np.array([[numbers[_pair(a, b)] for b in names] for a in names])
    except KeyError as missing:
        raise TrialDataError(
            f"The frozen limits hold no {str(missing.args[0])!r}: they were made from other responses.",
            where=where,
            try_this="freeze limits for these responses together",
        ) from None
    if numbers["responses"] != p:
        raise TrialDataError(
            f"The frozen limits are for {numbers['responses']:.0f} responses together, here are {p}.",
            where=where,
            try_this="chart the same responses, or freeze limits for these",
        )
    return Base(names=tuple(names), n=limits.batches, mean=mean, covariance=covariance, alpha=numbers["alpha"])


def make_base(table: Floats, names: tuple[str, ...], alpha: float) -> Base:
    n, p = table.shape
    where = ", ".join(names)
    if n < p + 2:
        raise NotPossible(
            f"{n} batches have all {p} responses; together they need at least {p + 2}, and good limits {_enough(p)}.",
            where=where,
            try_this="log more batches, or chart the responses one by one",
        )
    covariance = np.cov(table, rowvar=False, ddof=1)
    sds = np.sqrt(np.diag(covariance))
    for name, sd, mean in zip(names, sds, table.mean(axis=0), strict=True):
        if sd <= 1e-12 * abs(mean):
            raise NotPossible(
                f"Every batch has the same {name}: it cannot go together with anything.",
                where=name,
                try_this="leave it out",
            )
    sizes, vectors = np.linalg.eigh(covariance / np.outer(sds, sds))
    if sizes[0] < SINGULAR:
        bound = [name for name, part in zip(names, vectors[:, 0], strict=True) if abs(part) > 1e-4]
        raise NotPossible(
            f"{', '.join(bound)} follow from one another, so they do not scatter by themselves.",
            where=where,
            try_this=f"leave one of them out, for instance {bound[-1]}",
        )
    return Base(names=names, n=n, mean=table.mean(axis=0), covariance=covariance, alpha=alpha)


def limits_of_base(base: Base, batches: tuple[str, ...], phase: Phase | None) -> Limits:
    from scipy import stats

    n, p = base.n, len(base.names)
    if phase is not None:
        return replace(phase.limits, lower=None, centre=float(p), upper=further_limit(n, p, base.alpha))
    return Limits(
        lower=None,
        centre=p * (n - 1) / n,
        upper=base_limit(n, p, base.alpha),
        sd=float((n - 1) ** 2 / n * stats.beta.std(p / 2, (n - p - 1) / 2)),
        method="covariance of batch means",
        batches=n,
        first_batch=batches[0],
        last_batch=batches[-1],
        provisional=n < _enough(p),
        numbers={
            "responses": float(p),
            "alpha": base.alpha,
            **{f"mean {name}": float(mean) for name, mean in zip(base.names, base.mean, strict=True)},
            **{
                _pair(a, b): float(base.covariance[i, j])
                for i, a in enumerate(base.names)
                for j, b in enumerate(base.names)
                if i <= j
            },
        },
    )


def _pair(a: str, b: str) -> str:
    """One name for a covariance, whichever way round."""
    return "covariance " + " with ".join(sorted((a, b)))


def _enough(p: int) -> int:
    return max(FEW, BATCHES_PER_RESPONSE * p)
