"""Which terms do the data need, and do the model's own assumptions hold?

Likelihood-ratio tests. A term is tested against all terms that do not contain it (type 2). With
overdispersion the ratio is divided by it and judged by F; with few readings (see ``model.error_df``) the
ratio over its df is judged by F.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from analysis.estimates import Test
from analysis.linear.distributions import f_tail
from analysis.scores.climbing import climb
from analysis.scores.data import Data
from analysis.scores.fitting import Fit, Method, fit, fixed_top
from analysis.scores.model import Model, term_columns
from analysis.scores.results import LikelihoodRatio
from analysis.scores.terms import Term, with_pairs


def term_tests(model: Model) -> tuple[Test, ...]:
    """One line for each term. ``sum_sq`` is the deviance it takes away."""
    return tuple(_term_test(model, term) for term in model.layout.terms)


def _term_test(model: Model, term: Term) -> Test:
    layout = model.layout
    beside = [other for other in layout.terms if other != term and not other.contains(term)]
    whole = [other for other in layout.terms if other in beside or other == term]
    full = model.free if len(whole) == len(layout.terms) else _refit(model, whole)
    small = _refit(model, beside)
    df = len(term_columns(layout, [term]))
    ratio = max(2 * (full.loglik - small.loglik), 0.0)
    if model.widened and model.df and model.dispersion:
        value = ratio / df / model.dispersion
        return Test(
            term=term.name, df=df, sum_sq=ratio, mean_sq=ratio / df, df_error=float(model.df), statistic="F",
            value=value, p=f_tail(value, df, model.df),
        )  # fmt: skip
    few = model.df_of(term.name)
    return Test(
        term=term.name, df=df, sum_sq=ratio, mean_sq=ratio / df, df_error=few, statistic="LR chi-square", value=ratio,
        p=float(chdtrc(df, ratio)) if few is None else f_tail(ratio / df, df, few),
    )  # fmt: skip


def _refit(model: Model, terms: list[Term]) -> Fit:
    """The same rows and approximation with fewer terms; groups stay as they were found to be needed."""
    data = model.free.data.only(term_columns(model.layout, terms))
    return fit(data, method=_method(model), checked=False)


def assumption_tests(model: Model) -> tuple[tuple[LikelihoodRatio, ...], tuple[LikelihoodRatio, ...]]:
    """Proportional odds and equal spread of the hidden scale, term by term, without the groups."""
    data = model.data
    if data.counted or data.lead < 2:
        return (), ()
    base = fixed_top(data).value
    nominal, spread = [], []
    for term in model.layout.terms:
        columns = tuple(term_columns(model.layout, [term]))
        extra = (data.lead - 1) * len(columns)
        freed = data.problem(nominal=columns)
        top = climb(freed.likelihood, data.start(freed.width))
        nominal.append(_ratio(term.name, extra, base, top.value))
        stretched = data.problem(scale=columns)
        start = np.concatenate([data.start(stretched.width), np.zeros(len(columns))])
        top = climb(stretched.likelihood, start)
        spread.append(_ratio(term.name, len(columns), base, top.value))
    return tuple(nominal), tuple(spread)


def group_tests(model: Model) -> tuple[LikelihoodRatio, ...]:
    """Is there a spread between groups at all? Half of the chi-square tail (of the ratio over the dispersion):
    a variance cannot be below 0."""
    found = []
    for kin in model.free.data.kin:
        rest = fit(model.free.data.without(kin.name), method=_method(model), checked=False)
        one = _ratio(kin.name, 1, rest.loglik, model.free.loglik)
        scatter = max(model.dispersion or 1.0, 1.0) if model.widened else 1.0
        found.append(
            LikelihoodRatio(
                term=one.term,
                df=1,
                statistic=one.statistic,
                p=float(chdtrc(1, one.statistic / scatter)) / 2,
                loglik=rest.loglik,
            )
        )
    return tuple(found)


def _method(model: Model) -> Method | None:
    return None if model.free.method == "newton" else model.free.method


def interaction_tests(model: Model) -> tuple[LikelihoodRatio, ...]:
    """What interactions of two factors, and bends of amounts, would add that were not asked for; without the groups."""
    if model.question.model is not None or model.question.order < 2:
        return ()
    wider = with_pairs(model.layout, model.readings.frame)
    more = [term for term in wider.terms if term not in model.layout.terms]
    if not more:
        return ()
    columns = wider.matrix(
        {v.name: model.readings.frame[v.name].tolist() for v in wider.variables}, len(model.readings.frame)
    )
    data = model_data(model, columns)
    base_columns = [
        c for term, place in zip(wider.terms, wider.places(), strict=True) if term in model.layout.terms for c in place
    ]
    base = fixed_top(data.only(base_columns)).value
    places = dict(zip(wider.terms, wider.places(), strict=True))
    found = []
    for term in more:
        top = fixed_top(data.only(sorted([*base_columns, *places[term]])))
        found.append(_ratio(term.name, len(places[term]), base, top.value))
    return tuple(found)


def model_data(model: Model, x: NDArray[np.float64]) -> Data:
    """The readings with other columns, without groups."""
    from analysis.scores.asking import data_of

    return data_of(model.readings, model.response, x, model.data.link, kin=False)[0]


def _ratio(name: str, df: int, small: float, large: float) -> LikelihoodRatio:
    statistic = max(2 * (large - small), 0.0)
    return LikelihoodRatio(term=name, df=df, statistic=statistic, p=float(chdtrc(df, statistic)), loglik=large)
