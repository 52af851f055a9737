"""How does a table of readings become a fitted model of scores?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from analysis.errors import NotPossible, TrialDataError
from analysis.questions import Question, Response
from analysis.scores.data import Data, gathered
from analysis.scores.expected import Expected
from analysis.scores.fitting import Fit, fit, fixed_top
from analysis.scores.links import Link
from analysis.scores.model import Model
from analysis.scores.readings import MOST_SCORES, Readings
from analysis.scores.separation import endless, firth, looks_endless
from analysis.scores.shared import Kin, Shared
from analysis.scores.terms import Layout, lay_out_terms

Floats = NDArray[np.float64]


def fitted(readings: Readings, response: Response, question: Question, *, log: str | None = None) -> Model:
    """The model with its fit. Raises NotPossible where there is nothing to compare."""
    layout = lay_out_terms(readings.frame, question, log=log)
    if not any(term.asked for term in layout.terms):
        raise NotPossible(
            "Nothing that was changed on purpose can be told from the rest.",
            where=response.name,
            try_this="Bake at least two levels of a factor, in every block.",
        )
    cells = {v.name: readings.frame[v.name].tolist() for v in layout.variables}
    x = layout.matrix(cells, len(readings.frame))
    data, labels = data_of(readings, response, x, question.link)
    _enough(data, x, response)
    data = gathered(data)
    return _fit(readings, response, question, layout, data, labels)


def data_of(
    readings: Readings, response: Response, x: Floats, link: Link, *, kin: bool = True
) -> tuple[Data, tuple[str, ...]]:
    """Rows for the likelihood, and what the scores are called."""
    y, w = readings.response, readings.weights
    groups = readings.kin if kin else ()
    if response.scale == "count":
        _refuse_no_count(y, response)
        pieces = None if bool((w == 1).all()) else w
        return Data(y=y, x=x, w=np.ones(len(y)), values=(), kin=groups, exposure=pieces), ()
    if response.scale == "yes-no":
        return _yes_no(y, w, x, link, groups)
    values, codes = np.unique(y, return_inverse=True)
    _refuse_no_score(values, response)
    data = Data(y=codes.astype(np.float64), x=x, w=w, values=tuple(map(float, values)), link=link, kin=groups)
    return data, tuple(_label(value, response) for value in values)


def _yes_no(y: Floats, w: Floats, x: Floats, link: Link, groups: tuple[Kin, ...]) -> tuple[Data, tuple[str, ...]]:
    """A share of yes as a yes and a no."""
    n = len(y)
    both = np.concatenate([np.ones(n), np.zeros(n)])
    often = np.concatenate([y * w, (1 - y) * w])
    seen = often > 1e-12
    if len(np.unique(both[seen])) < 2:
        raise NotPossible(
            f"Every answer is {'yes' if both[seen][0] else 'no'}; nothing can be compared.",
            where="scores",
            try_this="Take more readings, or a measure that tells more than yes and no.",
        )
    kin = tuple(Kin(one.name, np.tile(one.codes, 2)[seen], one.count) for one in groups)
    data = Data(y=both[seen], x=np.vstack([x, x])[seen], w=often[seen], values=(0.0, 1.0), link=link, kin=kin)
    return data, ("no", "yes")


def _refuse_no_count(y: Floats, response: Response) -> None:
    odd = (y < 0) | (y != np.round(y))
    if odd.any():
        raise TrialDataError(
            f"{response.name} is a count, but one value is {y[odd][0]:g}.",
            where=response.name,
            try_this="Write whole numbers from 0 on, or call it measured.",
        )
    if not y.any():
        raise NotPossible(
            f"{response.name} was 0 every time; nothing can be compared.",
            where=response.name,
            try_this="Count over more pieces.",
        )


def _refuse_no_score(values: Floats, response: Response) -> None:
    if len(values) < 2:
        raise NotPossible(
            f"{response.name} has the same score every time; nothing can be compared.",
            where=response.name,
            try_this="Take more readings, or a finer scale.",
        )
    whole = bool((values == np.round(values)).all())
    if len(values) > MOST_SCORES or not (whole or response.scale == "score"):
        raise NotPossible(
            f"{response.name} has {len(values)} different values, so it is a measurement rather than a score.",
            where=response.name,
            try_this="Ask which factors matter (kind factors), which takes it as numbers.",
        )


def _label(value: float, response: Response) -> str:
    """The score as it was written."""
    at = int(value) - 1
    if response.anchors and float(value).is_integer() and 0 <= at < len(response.anchors):
        return response.anchors[at]
    return f"{value:.12g}"


def _enough(data: Data, x: Floats, response: Response) -> None:
    needed = data.lead + x.shape[1]
    seen = float(data.w.sum())
    if seen <= needed:
        raise NotPossible(
            f"{seen:g} readings are too few for {needed} unknowns (steps between scores and effects).",
            where=response.name,
            try_this="Take more readings, fewer factors, or ask for scores as numbers (kind factors).",
        )


def _fit(
    readings: Readings, response: Response, question: Question, layout: Layout, data: Data, labels: tuple[str, ...]
) -> Model:
    alone = fixed_top(data)
    direction = endless(data) if looks_endless(data, alone) else None
    if direction is not None:
        penalised = firth(data)
        names = _separated(layout, data, direction)
        reported = Fit(data=_without_kin(data), top=penalised, method="newton")
        free = Fit(data=_without_kin(data), top=alone, method="newton")
        return Model(
            readings=readings, response=response, question=question, layout=layout, data=_without_kin(data),
            fit=reported, free=free, labels=labels, separated=names, endless=direction,
        )  # fmt: skip
    found = fit(data)
    if found.covariance is None:
        raise NotPossible(
            f"The model of {response.name} did not settle: the readings do not tell its parts from each other.",
            where=response.name,
            try_this="Leave out a factor or a group, or ask for scores as numbers (kind factors).",
        )
    model = Model(
        readings=readings, response=response, question=question, layout=layout, data=data, fit=found, free=found,
        labels=labels,
    )  # fmt: skip
    return _dispersed(model)


def _without_kin(data: Data) -> Data:
    return replace(data, kin=())


def _separated(layout: Layout, data: Data, direction: Floats) -> tuple[str, ...]:
    """The terms that move along a direction without an end; none when only edges do."""
    moving = direction[data.lead :] != 0
    return tuple(
        term.name for term, place in zip(layout.terms, layout.places(), strict=True) if bool(moving[place].any())
    ) or ("scores",)


def _dispersed(model: Model) -> Model:
    """Pearson's X² of counts and grouped shares against their df; more scatter than counting widens errors."""
    readings, data = model.readings, model.data
    if data.values and not (model.response.scale == "yes-no" and bool((readings.weights > 1).any())):
        return model
    if model.fit.data.kin:
        return _dispersed_within(model) if data.counted else model
    x = model.layout.matrix(
        {v.name: readings.frame[v.name].tolist() for v in model.layout.variables}, len(readings.frame)
    )
    mean = Expected(model.fit.data, model.fit.params, None).mean(x)
    if data.counted:
        mean = mean * readings.weights
        pearson = float(((readings.response - mean) ** 2 / np.maximum(mean, 1e-12)).sum())
    else:
        spread = np.maximum(mean * (1 - mean), 1e-12)
        pearson = float((readings.weights * (readings.response - mean) ** 2 / spread).sum())
    df = len(readings.frame) - model.fit.fixed
    if df < 1:
        return replace(model, pearson=pearson, df=0)
    dispersion = pearson / df
    # A count hardly ever scatters as little as Poisson's law says, so its errors always follow what was seen.
    widened = dispersion > 1 if data.counted else float(chdtrc(df, pearson)) < 0.05
    return replace(model, pearson=pearson, df=df, dispersion=dispersion, widened=widened)


def _dispersed_within(model: Model) -> Model:
    """The same for counts with groups: around the mean of each group, on the readings less effects and groups."""
    data = model.fit.data
    at = Shared(data.problem(), data.kin).modes(model.fit.params)
    df = len(data.y) - model.fit.fixed - sum(kin.count - 1 for kin in data.kin)
    if at is None or df < 1:
        return model
    mean = np.exp(at.u)
    pearson = float(((data.y - mean) ** 2 / np.maximum(mean, 1e-12)).sum())
    return replace(model, pearson=pearson, df=df, dispersion=pearson / df, widened=pearson > df)
