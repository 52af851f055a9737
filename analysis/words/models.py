"""How was it computed?

The methods paragraph: what a statistician needs to repeat the analysis, and which
rows it rests on.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.questions import Question
from analysis.results import LeftOut, ModelNote, ResponseResult
from analysis.words.finding_parts import METHODS, say_term
from analysis.words.numbers import join_words, say_amount, say_count, say_number, say_share, start
from analysis.words.scatter import spoken
from analysis.words.scores import METHOD_KINDS, say_score_method
from analysis.words.trust_checks import SCALES

_NAMED = 8


def say_model(result: ResponseResult, question: Question) -> str:
    """The methods paragraph of one response."""
    if not result.family.model.terms and not result.family.variances:
        return f"{start(result.response.name)} was not analysed: {_why_not(result)}"
    if result.family.model.kind in METHOD_KINDS:
        return say_score_method(result, question)
    sentences = [
        _data(result, question),
        _model(result, question),
        _error(result),
        UNEQUAL.get(result.family.model.df_method, ""),
        _intervals(result, question),
        _tests(result),
        _multiplicity(result),
        _as_good(result, question),
        _yardstick(result),
    ]
    return " ".join(start(sentence) for sentence in sentences if sentence)


def _why_not(result: ResponseResult) -> str:
    reasons = result.family.reasons
    return (reasons.get("model") or next(iter(reasons.values()), "no model fits")).rstrip(".") + "."


def say_left_out(left_out: Sequence[LeftOut]) -> str:
    """Which rows were not used, with the reason of each."""
    if not left_out:
        return "Every row was used."
    said = [f"{_row(out)} ({out.why})" for out in left_out[:_NAMED]]
    more = f" and {len(left_out) - _NAMED} more" if len(left_out) > _NAMED else ""
    return f"Left out: {', '.join(said)}{more}."


def _row(out: LeftOut) -> str:
    row = f"row {out.row}" if isinstance(out.row, int) else f'bake "{out.row}"'
    return f"{row} for {out.response}" if out.response and out.response not in out.why else row


def _data(result: ResponseResult, question: Question) -> str:
    bakes, readings = say_count(result.n_bakes, "bake"), say_count(result.n_readings, "reading")
    if result.n_readings == result.n_bakes:
        return f"{result.response.name} was analysed for {bakes}, one reading each."
    if question.bake in result.family.model.groups:
        return f"{result.response.name} was analysed for {bakes}; their {readings} were kept apart."
    return f"{result.response.name} was analysed for {bakes}; {readings} were averaged to the mean of each bake first."


def _model(result: ResponseResult, question: Question) -> str:
    model = result.family.model
    dose = result.family.dose
    terms = join_words([say_term(t) for t in model.terms if t not in (*question.blocks, *question.covariates)])
    blocks = f", with {join_words(question.blocks)} as fixed blocks" if question.blocks else ""
    if dose is not None:
        by = f", one curve for each {dose.by}" if dose.by else ""
        tried = say_count(len(dose.candidates), "shape")
        chosen = f"asked for ({tried} compared)" if question.shape else f"chosen by AICc among {tried}"
        if any(check.check == "shape choice" and "not_flat_p" in check.facts for check in result.family.checks):
            chosen = f"chosen by AICc among {tried}, of which a test of the doses ruled out flat"
        made = {"profile": " Intervals: profile.", "bootstrap": " Intervals: BCa from 2,000 seeded refits."}
        told = made.get(question.intervals, "")
        return (
            f"the curve ({dose.shape}) over {dose.dose}{by}{blocks} was fitted by {model.estimation}, {chosen}.{told}"
        )
    groups = f"; {join_words([spoken(g) for g in model.groups])} as random groups" if model.groups else ""
    coding = f" Coding: {model.coding}." if model.coding else ""
    how = f", fitted by {model.estimation}.{_strata(result)}{coding}{_transform(model)}"
    beside = _beside(question, model.terms)
    return f"the linear model holds {terms or 'the mean alone'}{beside}{blocks}{groups}{how}"


def _strata(result: ResponseResult) -> str:
    """Where groups are alike, the exact tests of the strata serve, and REML tells the variances only."""
    model = result.family.model
    if model.df_method != "strata":
        return ""
    told = " and the variances are by REML" if result.family.variances else ""
    return f" Groups are alike, so that each term is tested exactly in the stratum where it changed{told}."


def _transform(model: ModelNote) -> str:
    """On which scale, and that what is brought back from it are medians."""
    if not model.transform:
        return ""
    return (
        f" The response was analysed as its {SCALES.get(model.transform, model.transform)}; means and differences are "
        "brought back to its unit and stand for medians."
    )


def _beside(question: Question, terms: Sequence[str]) -> str:
    """Covariates, which are no treatments."""
    known = [name for name in question.covariates if name in terms]
    if not known:
        return ""
    return f" and, as {'a covariate' if len(known) == 1 else 'covariates'}, {join_words(known)}"


# How a standard error without equal scatter is made.
UNEQUAL = {
    "Welch": "scatter is not taken as equal: each treatment keeps its own, by Welch's method.",
    "HC2": "scatter is not taken as equal: each bake's residual stands for its own (HC2).",
}


def _error(result: ResponseResult) -> str:
    residual = result.family.residual
    if result.family.model.estimation == "REML" and residual is not None and residual.sd is not None:
        return f"the scatter that is left has a standard deviation of {say_amount(residual.sd, result.response.unit)}."
    if residual is None or not residual.df:
        return "no error degrees of freedom are left."
    scale = result.family.model.transform
    size = say_amount(residual.sd, "on that scale" if scale else result.response.unit)
    sd = f", standard deviation {size}" if residual.sd is not None else ""
    squared = f", R² {say_number(residual.r_squared, 0.5)}" if residual.r_squared is not None else ""
    if squared and residual.r_squared_foretold is not None:
        foretold = max(residual.r_squared_foretold, 0.0)
        squared += f" ({say_number(foretold, 0.5)} for bakes foretold from the others)"
    looks = say_count(residual.df, "degree", "degrees")
    return f"the scatter about the fitted model rests on {looks} of freedom{sd}{squared}."


def _intervals(result: ResponseResult, question: Question) -> str:
    optima = [
        curve.optimum.method for curve in (result.family.dose.curves if result.family.dose else ()) if curve.optimum
    ]
    how = (
        f" The interval of the best dose: {join_words(list(dict.fromkeys(filter(None, optima))))}."
        if any(optima)
        else ""
    )
    df = result.family.model.df_method
    return f"intervals are {say_share(question.confidence)}, two-sided; degrees of freedom: {df}.{how}"


def _tests(result: ResponseResult) -> str:
    tests, squares = result.family.tests, result.family.model.sums_of_squares
    if not tests:
        return ""
    kind = squares if squares and not squares.isdigit() else f"type {squares}" if squares else ""
    kinds = f", sums of squares of {kind}" if kind else ""
    listed = "and is listed" if len(tests) == 1 else "all of them listed"
    joint = " " if len(tests) == 1 else ", "
    return f"{say_count(len(tests), 'term was', 'terms were')} tested{joint}{listed}{kinds}."


def _multiplicity(result: ResponseResult) -> str:
    family = result.family
    if any(effect.pse is not None for effect in family.effects):
        return "without replicates, effects are judged by Lenth's pseudo standard error (Lenth 1989)."
    methods = list(dict.fromkeys(comparison.method for comparison in family.comparisons))
    if not methods:
        return ""
    adjusted = [f"{method} ({METHODS[method]})" if method in METHODS else method for method in methods]
    return f"comparisons of levels: {join_words(adjusted)}. Tests of different terms are not adjusted for each other."


def _as_good(result: ResponseResult, question: Question) -> str:
    """How being as good was judged, where a margin was given."""
    if not result.family.equivalence:
        return ""
    return (
        f"being as good was judged by two one-sided tests at {say_share(1 - question.confidence)} each: the whole "
        f"{say_share(2 * question.confidence - 1)} interval has to lie within the margin."
    )


def _yardstick(result: ResponseResult) -> str:
    matters = result.response.matters
    if matters is None:
        return "no difference that matters was given; sizes are compared with zero."
    return f"the difference that matters was set at {say_amount(matters, result.response.unit)}."
