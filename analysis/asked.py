"""Does the question make sense, and which family answers it?

Everything a question can get wrong is said here, once, before any number is looked
at; what depends on the numbers (how many doses were baked) is decided per response.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.checks import did_you_mean
from analysis.errors import NotPossible, TrialDataError
from analysis.questions import Factor, Question, Response
from analysis.rows import group_columns

ENOUGH_DOSES = 4  # distinct levels from which a single amount is read as a dose
SETTINGS = (3, 5)  # of each amount, in designs for surfaces of second order
FEWEST_LEFT = 3  # bakes beyond the coefficients, to judge them by
USUAL_ORDER = 2
WHERE = "question"


@dataclass(frozen=True, kw_only=True)
class Route:
    """Which family answers, and with which dose and groups."""

    family: Literal["factors", "dose", "blend", "scores"]
    dose: str | None = None
    by: str | None = None


def check_question(question: Question, tables: Mapping[str, pd.DataFrame]) -> None:
    """Raise TrialDataError for a question that contradicts itself or names what is not there."""
    _something_asked(question)
    _names_are_distinct(question)
    _numbers_in_range(question)
    _dose_is_an_amount(question)
    for response in question.responses:
        _scale(response)
        if response.name not in tables:
            raise TrialDataError(
                f'There are no readings of "{response.name}".',
                where=WHERE,
                try_this=did_you_mean(response.name, tables),
            )
    for factor in question.factors:
        _factor(factor)
    _shares(question)


def route(question: Question, bakes: pd.DataFrame) -> Route:
    """The family for one bake frame. Raises NotPossible when a dose-response has factors left over."""
    moving = [factor for factor in question.factors if bakes[factor.name].nunique() > 1]
    amounts = [factor.name for factor in moving if factor.kind == "amount"]
    categories = [factor.name for factor in moving if factor.kind == "category"]
    if any(factor.kind == "share" for factor in question.factors):
        return Route(family="blend")
    if question.kind == "score":
        return Route(family="scores", dose=question.dose)
    if question.kind in ("factors", "surface") or (question.model is not None and question.kind == "auto"):
        return Route(family="factors")
    if question.kind == "auto" and question.dose is None:
        if question.slopes or not moving:
            return Route(family="factors")
        by_plot = any(_set_by_plot(bakes, question, name) for name in amounts)
        if by_plot or not _looks_like_a_dose(bakes, amounts, categories):
            return Route(family="factors")
    dose = question.dose or _only(amounts)
    by = question.by or (categories[0] if len(categories) == 1 else None)
    _nothing_left_over(dose, by, [*amounts, *categories])
    return Route(family="dose", dose=dose, by=by if by in categories else None)


def narrowed(question: Question, response: Response) -> Question:
    """The question for one response alone, with the terms that were asked for it."""
    return replace(question, responses=(response,), model=response.model or question.model)


def with_bends(question: Question, response: Response, bakes: pd.DataFrame) -> Question:
    """A question that leaves its kind open, asked as a surface where the treatments were laid out for one.

    That is where nothing but two amounts or more changed, each at three to five settings, and the bakes tell
    all bends and joint effects with bakes left to judge them by.
    """
    wishes = (question.model, response.model, question.dose, question.interactions, question.covariates)
    if question.kind != "auto" or any(wishes) or question.order != USUAL_ORDER or group_columns(question):
        return question
    moving = [factor for factor in question.factors if bakes[factor.name].nunique() > 1]
    if len(moving) < 2 or any(factor.kind != "amount" for factor in moving):
        return question
    amounts = bakes[[factor.name for factor in moving]].to_numpy(dtype=np.float64)
    settings = [len(np.unique(column)) for column in amounts.T]
    if min(settings) < SETTINGS[0] or max(settings) > SETTINGS[1] or not _tells_bends(amounts, bakes, question.blocks):
        return question
    return replace(question, kind="surface")


def _tells_bends(amounts: NDArray[np.float64], bakes: pd.DataFrame, blocks: Sequence[str]) -> bool:
    """Do the bakes tell a surface of second order beside the blocks, with enough left over?"""
    middle, half = (amounts.max(axis=0) + amounts.min(axis=0)) / 2, np.ptp(amounts, axis=0) / 2
    coded = (amounts - middle) / half
    pairs = [(i, j) for i in range(coded.shape[1]) for j in range(i, coded.shape[1])]
    columns = [np.ones(len(coded)), *coded.T, *(coded[:, i] * coded[:, j] for i, j in pairs)]
    for name in blocks:
        codes = pd.factorize(bakes[name])[0]
        columns += [(codes == code).astype(np.float64) for code in range(1, int(codes.max()) + 1)]
    x = np.column_stack(columns)
    left = len(x) - x.shape[1]
    return left >= FEWEST_LEFT and int(np.linalg.matrix_rank(x)) == x.shape[1]


def _looks_like_a_dose(bakes: pd.DataFrame, amounts: list[str], categories: list[str]) -> bool:
    return len(amounts) == 1 and len(categories) <= 1 and bakes[amounts[0]].nunique() >= ENOUGH_DOSES


def _set_by_plot(bakes: pd.DataFrame, question: Question, amount: str) -> bool:
    """Does it change only between whole plots or strips, whose error a curve knows nothing of?"""
    plots = [list(question.group)] if question.group else [[name] for name in question.strips]
    return any(bool((bakes.groupby(plot, observed=True)[amount].nunique() == 1).all()) for plot in plots)


def _only(amounts: list[str]) -> str:
    if len(amounts) == 1:
        return amounts[0]
    if not amounts:
        raise NotPossible(
            "A dose-response needs an amount that was baked at several levels, and there is none.",
            where=WHERE,
            try_this="Name an amount as the dose, or ask which factors matter.",
        )
    raise NotPossible(
        f"Several amounts changed ({', '.join(amounts)}), so it is open which of them is the dose.",
        where=WHERE,
        try_this="Name the dose, or ask which factors matter.",
    )


def _nothing_left_over(dose: str, by: str | None, moving: list[str]) -> None:
    left = [name for name in moving if name not in (dose, by)]
    if left:
        raise NotPossible(
            f"A curve over {dose} has no place for {' and '.join(left)}, which changed as well.",
            where=WHERE,
            try_this="Ask which factors matter, or give the further factor as a block.",
        )


def _something_asked(question: Question) -> None:
    if not question.responses:
        raise TrialDataError("No response was named.", where=WHERE, try_this="Name at least one response to explain.")
    if not question.factors and not group_columns(question):
        raise TrialDataError(
            "No factor was named.", where=WHERE, try_this="Name at least one factor that was changed on purpose."
        )


def _names_are_distinct(question: Question) -> None:
    parts = {
        "factor": [factor.name for factor in question.factors],
        "response": [response.name for response in question.responses],
        "block": list(question.blocks),
        "covariate": list(question.covariates),
        "weight": [question.weights] if question.weights else [],
    }
    seen: dict[str, str] = {}
    for part, names in parts.items():
        for name in names:
            if name in seen:
                twice = f"as a {part} twice" if seen[name] == part else f"both as a {seen[name]} and as a {part}"
                raise TrialDataError(f'"{name}" is named {twice}.', where=WHERE, try_this="Name it in one place only.")
            seen[name] = part
    if question.bake is not None and question.bake in seen:
        raise TrialDataError(
            f'"{question.bake}" is named both as the bake and as a {seen[question.bake]}.',
            where=WHERE,
            try_this="Name the column that tells the bakes apart, and nothing else, as the bake.",
        )
    for name in group_columns(question):
        if seen.get(name) in ("factor", "response", "covariate", "weight"):
            raise TrialDataError(
                f'"{name}" is named both as a group and as a {seen[name]}.',
                where=WHERE,
                try_this="Name as a group only what bakes shared, such as a day or an oven load.",
            )
    if question.strips and (len(set(question.strips)) != 2 or len(question.strips) != 2 or question.group):
        raise TrialDataError(
            "Strips are two groups that cut across each other, and nothing else is a group beside them.",
            where=WHERE,
            try_this="Name what the rows and what the columns of the strip-plot shared.",
        )


def _numbers_in_range(question: Question) -> None:
    if not 0 < question.confidence < 1:
        raise TrialDataError(
            f"A confidence of {question.confidence:g} is not between 0 and 1.",
            where=WHERE,
            try_this="Give it as a share, such as 0.95.",
        )
    for share in question.effective:
        if not 0 < share < 1:
            raise TrialDataError(
                f"A share of {share:g} of the way is not between 0 and 1.",
                where=WHERE,
                try_this="Name the share as a part of 1, such as 0.5 for half of the way.",
            )
    if question.order < 1:
        raise TrialDataError(
            f"Interactions up to order {question.order} make no sense.",
            where=WHERE,
            try_this="Give 1 for main effects only, 2 for pairs.",
        )
    if question.squares not in (1, 2, 3):
        raise TrialDataError(
            f"There is no type {question.squares} of sums of squares here.", where=WHERE, try_this="Give 1, 2 or 3."
        )
    if question.kind not in ("auto", "factors", "dose", "surface", "mixture", "score"):
        raise TrialDataError(
            f'There is no kind of analysis called "{question.kind}".',
            where=WHERE,
            try_this="Choose auto, factors, dose, surface, mixture or score.",
        )


def _dose_is_an_amount(question: Question) -> None:
    kinds = {factor.name: factor.kind for factor in question.factors}
    for name, role, wanted in ((question.dose, "dose", "amount"), (question.by, "by", "category")):
        if name is None:
            continue
        if name not in kinds:
            raise TrialDataError(
                f'"{name}" was named as the {role} but is no factor.', where=WHERE, try_this=did_you_mean(name, kinds)
            )
        if kinds[name] != wanted:
            raise TrialDataError(
                f'"{name}" was named as the {role}, which must be {"an" if wanted == "amount" else "a"} {wanted}, '
                f"but is a {kinds[name]}.",
                where=WHERE,
                try_this=f'Name another factor, or give "{name}" as {"an" if wanted == "amount" else "a"} {wanted}.',
            )
    if question.kind in ("factors", "surface") and question.dose is not None:
        raise TrialDataError(
            "A dose was named, but the question is which factors matter.",
            where=WHERE,
            try_this="Ask for a dose-response, or leave the dose out.",
        )


def _scale(response: Response) -> None:
    if response.matters is not None and not 0 < response.matters < float("inf"):
        raise TrialDataError(
            f"A difference that matters of {response.matters:g} for {response.name} is not above 0.",
            where=WHERE,
            try_this="Give the smallest change worth acting on, or leave it out.",
        )
    if response.goal == "target" and response.target is None:
        raise TrialDataError(
            f'The goal of "{response.name}" is a target, but none is given.',
            where=WHERE,
            try_this="Give the target as a number.",
        )


def _shares(question: Question) -> None:
    """Shares are read as a blend; a blend needs shares."""
    shares = [factor.name for factor in question.factors if factor.kind == "share"]
    blend = question.kind == "mixture" or (question.model or "").startswith("mixture")
    if blend and not shares:
        raise TrialDataError(
            "A mixture was asked for, but no factor is a share of a whole.",
            where=WHERE,
            try_this='Name the parts of the whole as shares, such as "rye:share".',
        )
    if shares and (question.kind in ("factors", "dose", "surface") or not (blend or question.model is None)):
        raise NotPossible(
            f'"{shares[0]}" is a share of a whole: shares change together, so none has an effect of its own.',
            where=WHERE,
            try_this="Ask for a mixture, or give all but one of the shares as amounts.",
        )


def _factor(factor: Factor) -> None:
    if factor.reference is not None and factor.levels and factor.reference not in factor.levels:
        raise TrialDataError(
            f'The reference "{factor.reference}" is no level of "{factor.name}".',
            where=WHERE,
            try_this=did_you_mean(factor.reference, factor.levels),
        )
