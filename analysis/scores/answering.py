"""Which factors move the scores, and by how much?

Puts everything one response of scores, yes or no, or counts can be asked into a ``FamilyResult``.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.errors import NotPossible, TrialDataError
from analysis.linear.equivalence import as_good_findings
from analysis.questions import Question, Response
from analysis.results import BakePoint, FamilyResult, ModelNote
from analysis.scores.asking import fitted
from analysis.scores.checking import checks
from analysis.scores.comparing import level_shares, means, odds_ratios, pairs, treatment_shares
from analysis.scores.contrasts import chosen_contrasts
from analysis.scores.doses import effective_doses
from analysis.scores.evidence import evidence
from analysis.scores.fitting import Fit
from analysis.scores.margins import equivalences
from analysis.scores.model import Model, as_other, coefficients, thresholds, variances
from analysis.scores.predictor import ScorePredictor
from analysis.scores.profiles import profile_limits
from analysis.scores.readings import readings_of
from analysis.scores.results import Approximation, ScorePart
from analysis.scores.testing import assumption_tests, group_tests, interaction_tests, term_tests

Floats = NDArray[np.float64]
ESTIMATION = {
    "newton": "maximum likelihood",
    "laplace": "maximum likelihood, the groups integrated by Laplace's approximation",
    "quadrature": "maximum likelihood, the groups integrated by adaptive Gauss-Hermite quadrature with 10 points",
}
FIRTH = "maximum likelihood with Jeffreys' prior (Firth's penalty), because of separation"
OPEN_ENDED = "these readings set no limit on that side: every reading fits an endless effect"
SCALES = {"yes-no": "yes-no", "count": "count"}


def score_model(
    table: pd.DataFrame, response: Response, question: Question, *, dose: str | None = None
) -> FamilyResult:
    """``table`` has one row a reading. ``dose`` enters by its logarithm, as it is where some dose is 0.

    Raises TrialDataError for values that are none, NotPossible where nothing can be compared.
    """
    response = as_scores(response)
    _refuse_other_ways(question)
    model, dose = _asked(table, response, question, dose)
    tests = term_tests(model)
    limits, reasons = _limits(model)
    own = coefficients(model, limits)
    hidden, shown = pairs(model)
    nominal, spread = assumption_tests(model)
    interactions = interaction_tests(model)
    contrasts, on_its_scale = chosen_contrasts(model)
    equal = equivalences(model)
    part = ScorePart(
        scale=SCALES.get(response.scale, "score"),
        link="log" if model.data.counted else model.data.link,
        method=_estimation(model),
        labels=model.labels,
        loglik=model.fit.loglik,
        aic=-2 * model.free.loglik + 2 * len(model.free.params),
        n=float(model.readings.weights.sum()) if not model.data.counted else float(len(model.readings.frame)),
        odds_ratios=odds_ratios(model, own),
        treatments=treatment_shares(model),
        levels=level_shares(model),
        pairs=shown,
        contrasts=on_its_scale,
        proportional_odds=nominal,
        equal_spread=spread,
        group_tests=group_tests(model),
        interactions=interactions,
        approximations=_approximations(model),
        separated=model.separated,
        deviance=_deviance(model),
        pearson=model.pearson,
        df=model.df,
        dispersion=model.dispersion,
        widened=model.widened,
        effective=effective_doses(model, dose) if dose else (),
        reasons=reasons,
    )
    return FamilyResult(
        model=_note(model),
        tests=tests,
        residual=None,
        coefficients=own,
        thresholds=thresholds(model),
        variances=variances(model.free),
        means=means(model),
        comparisons=hidden,
        contrasts=contrasts,
        equivalence=equal,
        checks=checks(model, nominal, spread, interactions),
        evidence=(
            *evidence(model, {test.term: test for test in tests}, shown),
            *as_good_findings(equal, response),
        ),
        points=_points(model),
        reasons=reasons,
        parts=(part,),
        predictor=ScorePredictor(model),
    )


def _refuse_other_ways(question: Question) -> None:
    """What was asked for and is not done here."""
    if question.intervals == "bootstrap":
        raise NotPossible(
            "Intervals of scores are by profile likelihood; resampling them is not offered.",
            where="question",
            try_this="Leave the kind of interval out, or ask for profile.",
        )
    if question.intervals == "profile" and (question.group or question.crossed or question.strips):
        raise NotPossible(
            "Profile intervals of scores cannot be had with random groups.",
            where="question",
            try_this="Leave the kind of interval out, or the group.",
        )
    wrong = [share for share in question.effective if not 0 < share < 1]
    if wrong:
        raise TrialDataError(
            f"A share of {wrong[0]:g} is not between 0 and 1.",
            where="question",
            try_this="Give it as 0.5, for example.",
        )


def as_scores(response: Response) -> Response:
    """A measured response taken as scores becomes one."""
    return replace(response, scale="score") if response.scale == "measured" else response


def _asked(table: pd.DataFrame, response: Response, question: Question, dose: str | None) -> tuple[Model, str | None]:
    readings = readings_of(table, response, question)
    above = dose is not None and bool((readings.frame[dose].to_numpy(np.float64) > 0).all())
    return fitted(readings, response, question, log=dose if above else None), dose


def _estimation(model: Model) -> str:
    return FIRTH if model.separated else ESTIMATION[model.fit.method]


def _limits(model: Model) -> tuple[dict[int, tuple[float | None, float | None]], dict[str, str]]:
    """Profile-likelihood limits of each effect (without groups), an open side where the effect is endless."""
    if model.free.data.kin or model.widened or model.covariance is None:
        return {}, {}
    likelihood = model.data.problem().likelihood
    found = _constant_limits(model)
    reasons = {}
    dfs = [model.df_of(t.name) for t, at in zip(model.layout.terms, model.layout.places(), strict=True) for _ in at]
    for column, label in enumerate(model.layout.labels()):
        place = model.data.lead + column
        half = model.layout.halves()[column]
        spread = model.free.covariance if not model.separated else model.covariance
        se = 1.0 if spread is None else float(np.sqrt(spread[place, place]))
        low, high = profile_limits(
            likelihood,
            model.free.params,
            model.free.loglik,
            place,
            min(se, 10.0),
            model.quantile(dfs[column]),
            0.0 if model.endless is None else float(model.endless[place]),
        )
        found[column] = (None if low is None else float(low / half), None if high is None else float(high / half))
        if low is None or high is None:
            reasons[f"coefficients.{label}"] = OPEN_ENDED
    return found, reasons


def _constant_limits(model: Model) -> dict[int, tuple[float | None, float | None]]:
    """Limits of the constant of yes-no and counts under -1: the profile with x counted from its origin."""
    if model.data.lead > 1 or model.separated:
        return {}
    moved = replace(model.data, x=model.data.x - model.origin)
    row = model.lead_row(0)
    params = model.free.params.copy()
    params[0] = float(row @ model.free.params)
    covariance = model.covariance
    assert covariance is not None
    se = float(np.sqrt(row @ covariance @ row))
    likelihood, quantile = moved.problem().likelihood, model.quantile(model.base_df)
    low, high = profile_limits(likelihood, params, model.free.loglik, 0, se, quantile)
    if model.data.counted:
        return {-1: (low, high)}
    return {-1: (None if high is None else -high, None if low is None else -low)}


def _deviance(model: Model) -> float | None:
    """Against the shares or counts as they were seen; None for scores, whose rows hold one score each."""
    y, w = model.readings.response, model.readings.weights
    if model.response.scale == "yes-no" and not model.free.data.kin and bool((w > 1).any()):
        inner = (y > 0) & (y < 1)
        share = y[inner]
        best = float((w[inner] * (share * np.log(share) + (1 - share) * np.log(1 - share))).sum())
        return 2 * (best - model.free.loglik)
    if model.data.counted and not model.free.data.kin:
        from scipy.special import gammaln

        some = y > 0
        best = float((y[some] * np.log(y[some])).sum() - y.sum() - gammaln(y + 1).sum())
        return 2 * (best - model.free.loglik)
    return None


def _note(model: Model) -> ModelNote:
    kind = {"yes-no": "binomial", "count": "counts"}.get(model.response.scale, "cumulative link")
    return ModelNote(
        kind=kind,
        terms=tuple(term.name for term in model.layout.terms),
        groups=tuple(kin.name for kin in model.free.data.kin),
        estimation=_estimation(model),
        df_method=_df_method(model),
        sums_of_squares="type 2 (likelihood ratios)",
        coding="categories against their reference level",
    )


def _df_method(model: Model) -> str:
    if model.widened:
        return "residual, for more scatter than counting"
    if model.few:
        return "few readings: ratios judged by F, effects by t, on the readings (or groups) less effects"
    return "large samples (normal, chi-square)"


def _approximations(model: Model) -> tuple[Approximation, ...]:
    """Both ways of the integral, where both were gone."""
    fits = [one for one in (model.free, model.free.other) if one is not None and one.method != "newton"]
    return tuple(_approximation(model, one) for one in sorted(fits, key=lambda one: one.method))


def _approximation(model: Model, its: Fit) -> Approximation:
    other = as_other(model, its)
    return Approximation(
        method=its.method,
        loglik=its.loglik,
        coefficients=coefficients(other, {}),
        thresholds=thresholds(other),
        variances=variances(its),
    )


def _points(model: Model) -> tuple[BakePoint, ...]:
    frame = model.readings.frame
    names = [factor.name for factor in model.question.factors]
    x = model.layout.matrix({v.name: frame[v.name].tolist() for v in model.layout.variables}, len(frame))
    fitted_mean = model.expected.mean(x)
    observed = model.readings.response.astype(float)
    if model.data.counted:
        observed = observed / model.readings.weights
    block = model.question.blocks[0] if model.question.blocks else None
    found = []
    for at, row in enumerate(frame.to_dict("records")):
        settings = {name: float(row[name]) if isinstance(row[name], float) else str(row[name]) for name in names}
        found.append(
            BakePoint(
                bake=str(model.readings.bake[at]), order=int(row["order"]), settings=settings,
                block=None if block is None else str(row[block]), observed=float(observed[at]),
                fitted=float(fitted_mean[at]), residual=float(observed[at] - fitted_mean[at]), readings=1,
            )
        )  # fmt: skip
    return tuple(found)
