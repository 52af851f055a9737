"""Which variables matter, in the way that was asked for: on a scale, with odd bakes weighed down?

The plain factorial answer (``factors``) is asked with other readings: transformed ones, whose answer is then
undone, or pseudo-values that weigh odd bakes down. ``sensitivity`` adds what would change the answer.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.errors import NotPossible, TrialDataError
from analysis.linear import factors
from analysis.linear.box_cox import Power, best_power
from analysis.linear.centre_finding import centre_finding
from analysis.linear.coding import term_columns
from analysis.linear.covariates import covariate_checks, covariate_part
from analysis.linear.equivalence import as_good_findings
from analysis.linear.finite import finite
from analysis.linear.fitting import is_constant
from analysis.linear.missed import missed
from analysis.linear.more_checks import more_checks, with_masked
from analysis.linear.random_groups import joint_codes
from analysis.linear.residual_checks import MOST_CELLS, spread_allowed_for
from analysis.linear.robust import Robust, huber_fit
from analysis.linear.scales import Scale, scale_of
from analysis.linear.sensitivity import changes_part
from analysis.linear.stratum import Model
from analysis.linear.undoing import Undoing, undone
from analysis.linear.undone_margins import undone_equivalences
from analysis.linear.undone_predictor import UndonePredictor
from analysis.linear.unequal import UnequalModel
from analysis.questions import Question, Response
from analysis.results import Check, FamilyResult, Verdict

Floats = NDArray[np.float64]

ENOUGH_BAKES = 4  # of one treatment, to know its own scatter
GAMES_HOWELL = "Games-Howell"
TIMES_LARGEST = 1000.0  # a treatment not baked is never foretold beyond this many times the largest reading


def factor_model(bakes: pd.DataFrame, response: Response, question: Question) -> FamilyResult:
    """The factorial answer for one response, from one row per bake, with what would change it.

    Raises TrialDataError for gaps and text, NotPossible when nothing was varied, when there are fewer than
    three bakes, when blocks leave nothing to compare, or when wishes do not go together.
    """
    _refuse(bakes, question)
    result = one_answer(bakes, response, question)
    if model_of(result) is None:
        return result
    parts = [
        covariate_part(question, result, model_of(result), _undoing(result, response, question)),
        changes_part(bakes, response, question, result, ask=one_answer),
    ]
    checks = (*result.checks, *covariate_checks(question, model_of(result)))
    found = replace(result, parts=(*result.parts, *(part for part in parts if part is not None)), checks=checks)
    return finite(found, where=response.name) if found.parts or found.model.transform else found


def one_answer(bakes: pd.DataFrame, response: Response, question: Question) -> FamilyResult:
    """The answer in the way that was asked for, without what would change it."""
    raw = bakes[response.name].to_numpy(dtype=np.float64)
    if question.transform in (None, "none") or is_constant(raw):
        return _with_more_checks(_robust_or_plain(bakes, response, question), bakes, question, raw, response)
    if question.transform == "auto":
        power = _power(bakes, response, question)
        check = _chosen(power, raw)
        if power is None or power.named == "none":
            result = one_answer(bakes, response, replace(question, transform=None))
            kept = [one for one in result.checks if one.check != "transformation"]
            return replace(result, checks=(*kept, check))
        result = _transformed(bakes, response, question, scale_of(power.named, raw, response.name, response.unit))
        return replace(result, checks=(*result.checks, check))
    return _transformed(bakes, response, question, scale_of(question.transform, raw, response.name, response.unit))


def model_of(result: FamilyResult) -> Model | None:
    """The fitted model behind an answer (on its scale); None where every bake gave the same."""
    found = result.predictor
    if isinstance(found, UndonePredictor):
        found = found.inner
    return getattr(found, "model", None)


def _undoing(result: FamilyResult, response: Response, question: Question) -> Undoing | None:
    found, model = result.predictor, model_of(result)
    if not isinstance(found, UndonePredictor) or model is None:
        return None
    return Undoing(model, found.scale, response, question.confidence)


def _with_more_checks(
    result: FamilyResult, bakes: pd.DataFrame, question: Question, raw: Floats, response: Response
) -> FamilyResult:
    model = model_of(result)
    if model is None:
        return result
    checks = with_masked(result.checks, model, [str(name) for name in bakes["bake"]])
    centre = centre_finding(model, result, response, question.confidence)
    return replace(
        result,
        checks=(
            *checks,
            *more_checks(model, bakes, question, raw, response.matters),
            *missed(result.checks, model, question),
        ),
        evidence=(*result.evidence, *((centre,) if centre is not None else ())),
    )


def _refuse(bakes: pd.DataFrame, question: Question) -> None:
    grouped = bool(question.group or question.strips or question.crossed or question.slopes)
    wishes = {"odd bakes weighed down": question.robust, "unequal scatter": question.unequal_spread}
    asked = [wish for wish, wanted in wishes.items() if wanted]
    if grouped and asked:
        raise NotPossible(
            f"Groups of bakes with an error of their own do not go together with {' and '.join(asked)}.",
            where="question",
            try_this="give the groups as blocks, or leave the other wish out",
        )
    if not question.factors and (asked or question.transform not in (None, "none")):
        raise NotPossible(
            "Without a factor there is only scatter to tell, on the scale of the readings.",
            where="question",
            try_this="name a factor, or leave the other wishes out",
        )
    if question.strips and question.weights:
        raise NotPossible(
            "Strips do not go together with weights.",
            where="question",
            try_this="leave the weights out, or give the strips as blocks",
        )
    for name in (*question.covariates, *((question.weights,) if question.weights else ())):
        if name not in bakes or bakes[name].isna().any():
            raise TrialDataError(
                f'Column "{name}" is not there, or has a gap.',
                where=name,
                try_this="Leave out the bakes without a value.",
            )
    if question.weights and not bool((bakes[question.weights] > 0).all()):
        raise TrialDataError("A weight is above 0.", where=question.weights, try_this="Leave those bakes out.")


def _robust_or_plain(bakes: pd.DataFrame, response: Response, question: Question) -> FamilyResult:
    if not question.robust:
        return _noted(factors.factor_model(bakes, response, question), bakes, question)
    alike = replace(question, unequal_spread=False)
    plain = factors.factor_model(bakes, response, alike)
    model = model_of(plain)
    settled = None if model is None or model.strata[0].mean_sq is None else huber_fit(model.strata[0].fit)
    if model is None or settled is None:
        why = Check(check="robust", verdict="look here", facts={"settled": False})
        return replace(_noted(plain, bakes, alike), checks=(*plain.checks, why))
    return _weighed_down(bakes, response, question, plain, model, settled)


def _weighed_down(
    bakes: pd.DataFrame, response: Response, question: Question, plain: FamilyResult, model: Model, settled: Robust
) -> FamilyResult:
    """The plain answer of pseudo-values; checks are those of the bakes as they came."""
    raw = bakes[response.name].to_numpy(dtype=np.float64)
    stretch = _stretch(bakes, question)
    frame = bakes.assign(**{response.name: settled.pseudo / stretch + model.offset})
    result = factors.factor_model(frame, response, question)
    points = tuple(
        replace(point, observed=float(y), residual=None if point.fitted is None else float(y - point.fitted))
        for point, y in zip(result.points, raw, strict=True)
    )
    down = [(str(bakes["bake"].iloc[i]), float(w)) for i, w in enumerate(settled.weights) if w < 1]
    check = Check(
        check="robust", verdict="fine", facts={"settled": True, "bakes": tuple(sorted(down, key=lambda d: d[1]))}
    )
    note = replace(result.model, estimation="Huber's M-estimate")
    tests = tuple(line for line in result.tests if line.term in note.terms)  # pseudo-values are of the fitted terms
    checks = (*plain.checks, check)
    return _noted(replace(result, points=points, checks=checks, model=note, tests=tests), bakes, question)


def _noted(result: FamilyResult, bakes: pd.DataFrame, question: Question) -> FamilyResult:
    """How it was computed: weights and unequal scatter in the note of the model, R² with weights."""
    model, note = model_of(result), result.model
    if model is None:
        return result
    if isinstance(model, UnequalModel):
        note = replace(note, df_method=model.how, sums_of_squares="type 3")
        result = _as_games_howell(result)
        result = replace(result, checks=(*spread_allowed_for(result.checks), *_scatter_of_each(model)))
    if question.weights and "weights" not in note.estimation:
        how = "weighted least squares" if note.estimation == "least squares" else note.estimation
        note = replace(note, estimation=f"{how} (weights: {question.weights})")
    left = result.residual
    if question.weights and left is not None and left.r_squared is not None and left.sum_sq > 0:
        weights = bakes[question.weights].to_numpy(dtype=np.float64)
        y = model.strata[0].fit.y / np.sqrt(weights) if len(model.strata[0].fit.y) == len(weights) else None
        if y is not None:
            around = y - np.average(y, weights=weights)
            left = replace(
                left, r_squared=max(0.0, 1 - left.sum_sq / float(weights @ around**2)), r_squared_foretold=None
            )
    return replace(result, model=note, residual=left)


def _as_games_howell(result: FamilyResult) -> FamilyResult:
    """The range of the studentised means on Welch's df goes by other names."""
    comparisons = tuple(
        replace(one, method=GAMES_HOWELL) if one.method == "Tukey-Kramer" else one for one in result.comparisons
    )
    evidence = tuple(
        replace(one, facts={**one.facts, "method": GAMES_HOWELL}) if one.facts.get("method") == "Tukey-Kramer" else one
        for one in result.evidence
    )
    return replace(result, comparisons=comparisons, evidence=evidence)


def _scatter_of_each(model: UnequalModel) -> list[Check]:
    """Was every treatment baked often enough to know its own scatter?"""
    if model.cells is None:
        facts = {"fewest": 1, "alone": int(model.alone.sum())}
        return [Check(check="scatter of each", verdict="look here", facts=facts)] if model.alone.any() else []
    fewest = int(np.bincount(model.cells).min())
    verdict: Verdict = "look here" if fewest < ENOUGH_BAKES else "fine"
    return [Check(check="scatter of each", verdict=verdict, facts={"fewest": fewest})]


def _stretch(bakes: pd.DataFrame, question: Question) -> Floats:
    if question.weights is None:
        return np.ones(len(bakes))
    return np.sqrt(bakes[question.weights].to_numpy(dtype=np.float64))


def _power(bakes: pd.DataFrame, response: Response, question: Question) -> Power | None:
    """Box and Cox's power for the model that would be fitted to the readings as they are."""
    model = model_of(factors.factor_model(bakes, response, replace(question, unequal_spread=False)))
    return None if model is None else power_of(model, bakes, response.name, question)


def power_of(model: Model, bakes: pd.DataFrame, response: str, question: Question) -> Power | None:
    """Groups count as fixed: the scatter within them says on which scale it is even."""
    raw = bakes[response].to_numpy(dtype=np.float64)
    chains = [question.group, *question.crossed, *((name,) for name in question.strips)]
    groups = [joint_codes(bakes, chain)[0] for chain in chains if chain and chain != (question.bake,)]
    stretch = _stretch(bakes, question)
    if not groups:
        return best_power(raw, model.strata[-1].fit.q, question.confidence, stretch)
    if len(raw) * sum(int(codes.max()) + 1 for codes in groups) > MOST_CELLS:
        return None
    columns = [np.ones((len(raw), 1)), *(term_columns(model.variables, term) for term in model.terms)]
    columns += [(codes[:, None] == np.arange(int(codes.max()) + 1)).astype(np.float64) for codes in groups]
    directions, sizes, _ = np.linalg.svd(np.hstack(columns) * stretch[:, None], full_matrices=False)
    return best_power(raw, directions[:, sizes > 1e-9 * sizes[0]], question.confidence, stretch)


def _chosen(power: Power | None, raw: Floats) -> Check:
    if power is None:
        facts: dict[str, object] = {
            "auto": True,
            "chosen": "none",
            "why": "not above 0" if raw.min() <= 0 else "no error",
        }
        return Check(check="transformation", verdict="look here", facts=facts)
    facts = {"auto": True, "chosen": power.named, "power": power.best, "low": power.low, "high": power.high}
    return Check(check="transformation", verdict="fine", facts=facts)


def _on_scale(check: Check, scale: Scale) -> Check:
    """Sizes on the scale are not in the response's unit, so that they are not said."""
    if check.check in ("odd bakes", "order"):
        return replace(
            check, facts={name: fact for name, fact in check.facts.items() if name not in ("moves", "drift")}
        )
    return replace(check, facts={**check.facts, "scale": scale.name}) if check.check == "influence" else check


def _transformed(bakes: pd.DataFrame, response: Response, question: Question, scale: Scale) -> FamilyResult:
    raw = bakes[response.name].to_numpy(dtype=np.float64)
    there = scale.there(raw)
    frame = bakes.assign(**{response.name: there})
    bare = replace(response, matters=None, margin=None, target=None)
    found = _robust_or_plain(frame, bare, replace(question, transform=None))
    found = _with_more_checks(found, frame, question, there, bare)
    model = model_of(found)
    if model is None:
        return found
    undoing = Undoing(model, scale, response, question.confidence)
    result = undone(found, undoing, raw)
    equal = undone_equivalences(undoing, {factor.name: factor.reference for factor in question.factors})
    return replace(
        result,
        model=replace(result.model, transform=scale.name),
        checks=tuple(_on_scale(check, scale) for check in result.checks),
        equivalence=equal,
        evidence=(*result.evidence, *as_good_findings(equal, response)),
        predictor=UndonePredictor(found.predictor, scale, TIMES_LARGEST * float(raw.max())),
    )
