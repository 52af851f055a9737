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
from analysis.control.gauge.study import Study
from analysis.mixed.reml import fit_reml
from analysis.mixed.terms import IntArray, RandomTerm

RESIDUAL = "residual"


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
    """(residual sum of squares, rank) of person + piece, on the cells' means and weights (far fewer rows)."""
    first = np.unique(study.cell, return_index=True)[1]
    root = np.sqrt(study.counts)
    means = np.bincount(study.cell, study.y) / study.counts
    columns = np.zeros((study.cells, len(study.people) + len(study.pieces)))
    rows = np.arange(study.cells)
    columns[rows, study.person[first]] = 1
    columns[rows, len(study.people) + study.piece[first]] = 1
    middle = float(study.y.mean())
    solved, _, rank, _ = np.linalg.lstsq(columns * root[:, None], (means - middle) * root, rcond=1e-10)
    left = (means - middle - columns @ solved) * root
    within = float(((study.y - means[study.cell]) ** 2).sum())
    return float(left @ left) + within, int(rank)


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
