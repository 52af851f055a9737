"""How do the assessors of a panel compare: who scores high, who uses more of the scale, who tells treatments apart?

Each assessor is held against the rest of the panel, on the bakes both scored. Bias: mean of paired
differences with Student's t. Spread: standard deviation over bakes beside that of the others (root mean
square), without an interval. Telling treatments apart: the engine's own test of the treatments on one
assessor's bakes. Agreement: intraclass correlations of bakes scored by
everyone, with F limits (Shrout and Fleiss 1979, Psychological Bulletin 86, 420). Bias, spread and
telling apart are what ISO 11132 asks of a panel (named from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analysis.errors import AnalysisError
from analysis.questions import Factor, Question, Response

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

FEWEST_BAKES = 3  # shared bakes below which an assessor is not compared


@dataclass(frozen=True, kw_only=True)
class Share:
    """An intraclass correlation with its interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class Assessor:
    """One assessor by number. ``bias`` is mean minus the rest's mean, ``spread`` the standard deviation over bakes.

    ``p`` tests the treatments on this assessor's scores alone (None: ``why`` says what was missing).
    """

    person: int
    bakes: int
    mean: float
    bias: float | None = None
    bias_low: float | None = None
    bias_high: float | None = None
    spread: float | None = None
    spread_of_rest: float | None = None
    p: float | None = None
    why: str = ""


@dataclass(frozen=True, kw_only=True)
class Panel:
    """One response's panel. ``order``: agreement on which bake is better; ``scores``: on the score itself.

    ``between`` is the standard deviation between assessors, ``within`` that of one score beyond assessors,
    treatments and bakes (None where the groups could not be told apart).
    """

    response: str
    unit: str
    assessors: tuple[Assessor, ...]
    bakes_by_all: int
    order: Share | None = None
    scores: Share | None = None
    between: float | None = None
    within: float | None = None


def panel_of(scores: pd.DataFrame, response: Response, question: Question) -> Panel:
    """Compare the assessors of one response.

    ``scores`` has one row per reading: ``bake``, ``person`` (a number), one column for each factor
    of ``question`` and the response. Repeats of one assessor on one bake are averaged.
    """
    frame = scores.dropna(subset=[response.name, "person"])
    table = frame.pivot_table(index="bake", columns="person", values=response.name, aggfunc="mean", observed=True)
    table = table.sort_index().sort_index(axis=1)
    treatments = _treatments(frame, question.factors)
    whole = table.dropna()
    both = whole.to_numpy(np.float64)
    enough = both.shape[0] >= FEWEST_BAKES and both.shape[1] > 1
    order, alike = agreement(both, question.confidence) if enough else (None, None)
    between, within = _variances(table, treatments, response, question) if table.shape[1] > 1 else (None, None)
    return Panel(
        response=response.name,
        unit=response.unit,
        assessors=tuple(_assessor(table, person, treatments, question) for person in table.columns),
        bakes_by_all=len(whole),
        order=order,
        scores=alike,
        between=between,
        within=within,
    )


def agreement(table: NDArray[np.float64], confidence: float) -> tuple[Share | None, Share | None]:
    """(consistency, absolute agreement) of single scores, a complete table of bakes by assessors.

    Cases 3 and 2 of Shrout and Fleiss. None where all scores are the same.
    """
    from scipy.special import fdtri

    n, k = table.shape
    grand = table.mean()
    rows, columns = table.mean(axis=1), table.mean(axis=0)
    between = k * float(((rows - grand) ** 2).sum()) / (n - 1)
    judges = n * float(((columns - grand) ** 2).sum()) / (k - 1)
    left = table - rows[:, None] - columns[None, :] + grand
    df = (n - 1) * (k - 1)
    error = float((left**2).sum()) / df
    if error <= 1e-12 * max(between, judges, 1e-300):
        return None, None
    half = 1 - (1 - confidence) / 2
    f = between / error
    low, high = f / fdtri(n - 1, df, half), f * fdtri(df, n - 1, half)
    order = Share(value=_share(f, k), low=_share(low, k), high=_share(high, k))
    value = (between - error) / (between + (k - 1) * error + k * (judges - error) / n)
    fj = judges / error
    above = df * (k * value * fj + n * (1 + (k - 1) * value) - k * value) ** 2
    below = (n - 1) * k**2 * value**2 * fj**2 + (n * (1 + (k - 1) * value) - k * value) ** 2
    v = above / below
    up, down = fdtri(n - 1, v, half), fdtri(v, n - 1, half)
    noise = k * judges + (k * n - k - n) * error
    lowest = n * (between - up * error) / (up * noise + n * between)
    highest = n * (down * between - error) / (noise + n * down * between)
    return order, Share(value=float(value), low=float(lowest), high=float(highest))


def _share(f: float, k: int) -> float:
    return float((f - 1) / (f + k - 1))


def _assessor(table: pd.DataFrame, person: int, treatments: pd.Series, question: Question) -> Assessor:
    own = table[person].dropna()
    rest = table.drop(columns=person).mean(axis=1).reindex(own.index)
    known = rest.notna()
    values, others = own[known].to_numpy(np.float64), rest[known].to_numpy(np.float64)
    told: dict[str, float] = {}
    if len(values) >= FEWEST_BAKES:
        told |= _bias(values - others, question.confidence)
        each = table.drop(columns=person).reindex(own.index)[known.to_numpy()].std(ddof=1).dropna()
        told |= {"spread": float(values.std(ddof=1)), "spread_of_rest": float((each**2).mean()) ** 0.5}
    p, why = _tells_apart(own, treatments, question)
    return Assessor(person=int(person), bakes=len(own), mean=float(own.mean()), p=p, why=why, **told)


def _bias(differences: NDArray[np.float64], confidence: float) -> dict[str, float]:
    from scipy.special import stdtrit

    n, mean = len(differences), float(differences.mean())
    half = float(stdtrit(n - 1, 1 - (1 - confidence) / 2)) * float(differences.std(ddof=1)) / n**0.5
    return {"bias": mean, "bias_low": mean - half, "bias_high": mean + half}


def _tells_apart(own: pd.Series, treatments: pd.Series, question: Question) -> tuple[float | None, str]:
    """p of the treatments on one assessor's bakes alone, or why there is none."""
    frame = own.rename("score").reset_index().assign(treatment=treatments.reindex(own.index).to_numpy())
    tests = _answer(frame, question)
    if isinstance(tests, str):
        return None, tests
    test = next((one for one in tests.family.tests if one.term == "treatment" and one.p is not None), None)
    return (None, "no treatment was scored twice") if test is None else (test.p, "")


def _variances(
    table: pd.DataFrame, treatments: pd.Series, response: Response, question: Question
) -> tuple[float | None, float | None]:
    """Standard deviations between assessors and within, with assessors and bakes as groups drawn by chance."""
    long = table.stack().rename("score").reset_index()
    long = long.assign(treatment=treatments.reindex(long["bake"]).to_numpy(), person=long["person"].astype(str))
    # The engine counts bakes itself; as a group of readings they need another name.
    answer = _answer(long.rename(columns={"bake": "scored"}), question, group=("person",), crossed=(("scored",),))
    if isinstance(answer, str):
        return None, None
    found = {variance.group: variance.sd for variance in answer.family.variances}
    return found.get("person"), found.get("residual")


def _answer(frame: pd.DataFrame, question: Question, **groups: object):  # type: ignore[no-untyped-def]
    """The engine's answer about the treatments, or why there is none."""
    from analysis.engine import analyse

    levels = tuple(dict.fromkeys(sorted(frame["treatment"])))
    if len(levels) < 2:
        return "one treatment only was scored"
    asked = Question(
        factors=(Factor(name="treatment", kind="category", levels=levels),),
        responses=(Response(name="score"),),
        kind="factors",
        order=1,
        bake=None if groups else "bake",
        confidence=question.confidence,
        seed=question.seed,
        **groups,  # type: ignore[arg-type]
    )
    try:
        return analyse(frame, asked).responses[0]
    except AnalysisError as problem:
        return problem.what.rstrip(".")


def _treatments(frame: pd.DataFrame, factors: Sequence[Factor]) -> pd.Series:
    """Bake -> its treatment as a text."""
    names = [factor.name for factor in factors if factor.name in frame]
    firsts = frame.drop_duplicates("bake").set_index("bake")
    said = firsts[names].astype(str).agg(", ".join, axis=1) if names else firsts["person"].map(lambda _: "all")
    return said.rename("treatment")
