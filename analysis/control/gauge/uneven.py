"""How does the spread come apart when cells are missing or not equally full?

Components by the restricted maximum likelihood of ``analysis.mixed``. Their limits are those of the even
study that would have the same components: as many people and pieces, harmonic means of the counts. In
simulations this covers where Satterthwaite's degrees of freedom fall 10 points short. The repeats have
limits of their own, from what readings of one cell scatter.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.special import chdtri

from analysis.control.gauge.results import Component, InteractionTest, ModelName
from analysis.control.gauge.strata import Layout, Strata, components_of, model_of
from analysis.control.gauge.study import WHERE, Study
from analysis.errors import NotPossible
from analysis.mixed.reml import fit_reml
from analysis.mixed.terms import IntArray, RandomTerm

RESIDUAL = "residual"
ROUNDING = 1e-20  # of the squares


def terms_of(study: Study, model: ModelName, *, person: bool = True) -> list[RandomTerm]:
    """Random groups of the model; ``person`` False leaves people to the fixed part."""
    terms = [RandomTerm("piece", study.piece)]
    if person and len(study.people) > 1:
        terms.insert(0, RandomTerm("person", study.person))
    if model == "with person by piece":
        terms.append(RandomTerm("person by piece", study.cell))
    return terms


def uneven_strata(study: Study, *, interaction: bool) -> tuple[Strata, tuple[float, int]]:
    """Mean squares that even data with these components would have, and (mean square, df) of the repeats.

    Raises NotPossible when no scatter is left within the cells.
    """
    model = model_of(study, interaction=interaction)
    fit = fit_reml(study.y, np.ones((len(study.y), 1)), terms_of(study, model))
    own = {line.group: line.variance for line in fit.variances}
    scatter = scatter_of(study, cells=model != "without person by piece")
    first = np.unique(study.cell, return_index=True)[1]
    pieces, people = (_harmonic(np.bincount(codes[first])) for codes in (study.person, study.piece))
    layout = Layout(model=model, pieces=pieces, people=people, repeats=_harmonic(study.counts))
    values = np.array([own.get(RESIDUAL if term == "repeatability" else term, 0.0) for term in layout.terms])
    df = {
        "person": len(study.people) - 1,
        "piece": len(study.pieces) - (len(study.people) if study.nested else 1),
        "repeatability": scatter[1],
    }
    if "person by piece" in layout.terms:
        df["person by piece"] = study.cells - additive(study)[1]
    dfs = tuple(df[term] for term in layout.terms)
    return Strata(layout=layout, mean_sq=layout.expected @ values, df=dfs), scatter


def _harmonic(counts: IntArray) -> float:
    return float(len(counts) / (1 / counts).sum())


def scatter_of(study: Study, *, cells: bool) -> tuple[float, int]:
    """(mean square, df) of readings about their cell, or about person + piece."""
    if cells:
        means = np.bincount(study.cell, study.y) / study.counts
        return float(((study.y - means[study.cell]) ** 2).sum() / study.within_df), study.within_df
    sum_sq, rank = additive(study)
    return sum_sq / (len(study.y) - rank), len(study.y) - rank


def additive(study: Study) -> tuple[float, int]:
    """(residual sum of squares, rank) of person + piece.

    On the cells' means and weights; whichever there are more of is taken out group by group, so that only
    the columns of the others are left to solve for.
    """
    first = np.unique(study.cell, return_index=True)[1]
    many, few = study.piece[first], study.person[first]
    if len(study.people) > len(study.pieces):
        many, few = few, many
    weight = study.counts.astype(np.float64)
    means = np.bincount(study.cell, study.y - study.y.mean()) / weight
    columns = np.column_stack([means, np.eye(int(few.max()) + 1)[few]])
    group = np.bincount(many, weight)
    middle = np.column_stack([np.bincount(many, weight * column) / group for column in columns.T])
    apart = (columns - middle[many]) * np.sqrt(weight)[:, None]
    solved, _, rank, _ = np.linalg.lstsq(apart[:, 1:], apart[:, 0], rcond=1e-10)
    left = apart[:, 0] - apart[:, 1:] @ solved
    within = float(((study.y - study.y.mean() - means[study.cell]) ** 2).sum())
    return float(left @ left) + within, len(group) + int(rank)


def refuse_no_scatter(study: Study) -> None:
    """Raises NotPossible when people and pieces explain every reading and nobody read a piece twice."""
    if study.within_df:
        return
    sum_sq, _ = additive(study)
    if sum_sq <= ROUNDING * float(((study.y - study.y.mean()) ** 2).sum()):
        raise NotPossible(
            "The readings leave no scatter: each is its person's and its piece's part to the last digit.",
            where=WHERE,
            try_this="Check whether one person's readings were copied from another's; read each piece twice.",
        )


def interaction_test(study: Study) -> InteractionTest | None:
    """None where there is nothing to judge it by: no repeats, people without pieces in common, one person."""
    from scipy.special import fdtrc

    if study.nested or len(study.people) == 1 or not study.within_df:
        return None
    sum_sq, rank = additive(study)
    df = study.cells - rank
    within, df_error = scatter_of(study, cells=True)
    if df < 1:
        return None
    f = max(0.0, (sum_sq - within * df_error) / df) / within
    return InteractionTest(f=f, df=df, df_error=df_error, p=float(fdtrc(df, df_error, f)))


def uneven_components(strata: Strata, scatter: tuple[float, int], confidence: float) -> dict[str, Component]:
    """Each component and sum that the study can tell; that of the repeats with the limits of the repeats alone."""
    out = components_of(strata, confidence)
    own = out["repeatability"]
    low, high = _exact(scatter, confidence)
    # The residual of the likelihood differs a little from the scatter of the repeats alone.
    return {**out, "repeatability": replace(own, low=min(low, own.variance), high=max(high, own.variance))}


def _exact(scatter: tuple[float, int], confidence: float) -> tuple[float, float]:
    mean_sq, df = scatter
    tail = (1 - confidence) / 2
    return mean_sq * df / float(chdtri(df, tail)), mean_sq * df / float(chdtri(df, 1 - tail))
