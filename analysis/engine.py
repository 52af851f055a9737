"""Which family answers?

The one way from tables and a question to an answer, for trials and spreadsheets
alike: check, form the bakes, ask a family for each response, rank, and say what to
bake next.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import pandas as pd

from analysis.asked import check_question, narrowed, route, with_bends
from analysis.bakes import BakeTable, bake_table, without_readings
from analysis.best_again import goals_best_first
from analysis.checks import did_you_mean, duplicate_rows, leading_digits, refuse_shares, row_names
from analysis.chemistry import chemistry_parts
from analysis.errors import NotPossible, TrialDataError
from analysis.findings import rank
from analysis.next_bakes import next_bakes
from analysis.parts import Part
from analysis.questions import ModelName, Question, Response
from analysis.results import Analysis, Check, FamilyResult, Finding, LeftOut, ModelNote, ResponseResult
from analysis.rows import Rows
from analysis.understood import refuse_what_is_not_understood

if TYPE_CHECKING:
    from analysis.goals.computed import Computed


@dataclass(frozen=True, kw_only=True)
class _Answered:
    """One response with the rows behind it; ``table`` is None when no bake could be formed."""

    result: ResponseResult
    table: BakeTable | None
    failure: NotPossible | None = None


def analyse(
    tables: Mapping[str, pd.DataFrame] | pd.DataFrame,
    question: Question,
    *,
    source: str = "",
    left_out: Sequence[LeftOut] = (),
    computed: Sequence[Computed] = (),
) -> Analysis:
    """The answer to a question about one table per response, or one table with all of them.

    Each table has one row per reading (see DEVELOPERS.md). ``left_out`` lists rows that the
    caller has already set aside; they are counted as read. ``computed`` responses are weighed as goals.
    Raises TrialDataError for a wrong question or wrong data, and NotPossible when not one response
    can be analysed; a single response that cannot is answered with "cannot tell" and the reason.
    """
    tables = _by_response(tables, question)
    check_question(question, tables)
    shared: dict[int, Rows] = {}
    answered = [_answer(tables[response.name], response, question, shared) for response in question.responses]
    failures = [one.failure for one in answered if one.failure is not None]
    if len(failures) == len(answered):
        raise _all_failed(failures, question)
    results = tuple(one.result for one in answered)
    everything = [finding for result in results for finding in result.findings]
    away = tuple(left_out) + tuple(out for one in answered if one.table for out in one.table.left_out)
    read, used = _rows(tables, answered)
    parts = _together(answered, question, computed)
    return Analysis(
        question=question,
        source=source,
        rows_read=read + len(left_out),
        rows_used=used,
        left_out=away,
        responses=goals_best_first(results, parts),
        findings=rank(everything, question.responses),
        parts=parts,
    )


def _together(answered: Sequence[_Answered], question: Question, computed: Sequence[Computed]) -> tuple[Part, ...]:
    """What concerns several responses: goals, where at least two have one."""
    if sum(one.result.response.goal is not None for one in answered) + len(computed) < 2:
        return ()
    from analysis.goals import Asked, goals_part

    part = goals_part([Asked(result=one.result, refit=_refit(one, question)) for one in answered], question, computed)
    return () if part is None else (part,)


def _refit(one: _Answered, question: Question) -> Callable[[ModelName], FamilyResult] | None:
    """The same bakes with other terms, where factors were asked about."""
    table, response = one.table, one.result.response
    if table is None or route(narrowed(question, response), table.bakes).family != "factors":
        return None
    from analysis.linear import factor_model

    return lambda model: factor_model(table.bakes, response, replace(narrowed(question, response), model=model))


def _by_response(tables: Mapping[str, pd.DataFrame] | pd.DataFrame, question: Question) -> Mapping[str, pd.DataFrame]:
    if not isinstance(tables, pd.DataFrame):
        return tables
    known = [str(column) for column in tables.columns]
    missing = [response.name for response in question.responses if response.name not in known]
    if missing:
        raise TrialDataError(
            f'There is no column "{missing[0]}".', where="table", try_this=did_you_mean(missing[0], known)
        )
    return {response.name: tables for response in question.responses}


def _answer(table: pd.DataFrame, response: Response, question: Question, shared: dict[int, Rows]) -> _Answered:
    """One response; NotPossible becomes an answer in words, wrong data are raised."""
    if table.empty:
        raise TrialDataError(
            f"The table of {response.name} has no rows.", where="table", try_this="Record or import readings first."
        )
    try:
        bakes = bake_table(table, response, question, shared=shared)
    except NotPossible as problem:
        return _Answered(result=_cannot_tell(response, question, problem, None), table=None, failure=problem)
    question = with_bends(question, response, bakes.bakes)
    try:
        family = _ask(bakes.bakes, response, question, table)
    except NotPossible as problem:
        return _Answered(result=_cannot_tell(response, question, problem, bakes), table=bakes, failure=problem)
    checks = _all_checks(table, bakes, response, question, family)
    result = _result(response, question, bakes, family, checks)
    chemistry = chemistry_parts(bakes.bakes, table, response, question)
    return _Answered(result=replace(result, chemistry=chemistry), table=bakes)


def _ask(
    bakes: pd.DataFrame, response: Response, question: Question, readings: pd.DataFrame | None = None
) -> FamilyResult:
    """Hand the bake frame to the family the question leads to; scores are read from the ``readings`` themselves."""
    refuse_shares(bakes, [factor.name for factor in question.factors if factor.kind == "amount"])
    asked = narrowed(question, response)
    way = route(asked, bakes)
    refuse_what_is_not_understood(question, response, way.family)
    # The families load scipy; a question that is refused above never pays for it.
    if way.family == "scores":
        from analysis.scores import score_model

        return score_model(bakes if readings is None else readings, response, asked, dose=way.dose)
    if way.family == "dose" and way.dose is not None:
        from analysis.dose_response import dose_model

        bakes, asked = without_readings(bakes, response, asked)
        return dose_model(bakes, response, asked, dose=way.dose, by=way.by)
    if way.family == "blend":
        from analysis.blends.family import blend_model

        bakes, asked = without_readings(bakes, response, asked)
        return blend_model(bakes, response, asked)
    from analysis.linear import factor_model
    from analysis.surfaces.family import with_surface

    return with_surface(factor_model(bakes, response, asked), bakes, response, asked)


def _result(
    response: Response, question: Question, bakes: BakeTable, family: FamilyResult, checks: tuple[Check, ...]
) -> ResponseResult:
    n_bakes, n_readings = _counted(bakes, question, family)
    result = ResponseResult(
        response=response,
        n_bakes=n_bakes,
        n_readings=n_readings,
        family=family,
        findings=rank(family.evidence, (response,)),
        next_bakes=(),
        checks=checks,
    )
    return replace(result, next_bakes=next_bakes(result, question))


def _all_checks(
    table: pd.DataFrame, bakes: BakeTable, response: Response, question: Question, family: FamilyResult
) -> tuple[Check, ...]:
    """Checks of the family and of the door; where both speak, the one with the graver verdict stands."""
    # Scores are not averaged, so what the door says of averaging is not so.
    notes = [note for note in bakes.notes if not (_of_scores(family) and note.check == "experimental unit")]
    door = [
        *notes,
        duplicate_rows(table, response, bakes.rows.repeated),
        leading_digits(bakes.bakes[response.name].to_numpy()),
    ]
    door += [_scale_note(bakes, response, question, family), _guessed_note(question)]
    checks = list(family.checks)
    for check in (check for check in door if check is not None):
        same = [at for at, other in enumerate(checks) if other.check == check.check]
        if not same:
            checks.append(check)
        elif check.verdict != "fine" and checks[same[0]].verdict == "fine":
            checks[same[0]] = check
    return tuple(checks)


def _scale_note(bakes: BakeTable, response: Response, question: Question, family: FamilyResult) -> Check | None:
    """Scores taken as numbers, with what the model of scores says of the same bakes."""
    if response.scale == "measured" or _of_scores(family):
        return None
    from analysis.scores.agreement import second_opinion

    other = second_opinion(bakes.bakes, response, narrowed(question, response), family)
    return Check(check="scores as numbers", verdict="look here", facts={"scale": response.scale, **other})


def _counted(bakes: BakeTable, question: Question, family: FamilyResult) -> tuple[int, int]:
    """Bakes and readings. A row of scores with a weight stands for so many readings, of shares for so many pieces."""
    if question.weights is None or not _of_scores(family):
        return bakes.n_bakes, bakes.n_readings
    from analysis.scores.results import ScorePart

    part = next(part for part in family.parts if isinstance(part, ScorePart))
    n_readings = round(part.n)
    # Without a bake's name a score seen so often is as many bakes, as the same scores row by row would be.
    return n_readings if question.bake is None and part.scale == "score" else bakes.n_bakes, n_readings


def _of_scores(family: FamilyResult) -> bool:
    """Was it read from single readings, as scores, yes or no, or counts?"""
    return any(part.key == "scores" for part in family.parts)


def _guessed_note(question: Question) -> Check | None:
    kinds = {factor.name: factor.kind for factor in question.factors if factor.name in question.guessed}
    return Check(check="kind guessed", verdict="look here", facts={"kinds": kinds}) if kinds else None


def _cannot_tell(
    response: Response, question: Question, problem: NotPossible, bakes: BakeTable | None
) -> ResponseResult:
    finding = Finding(
        kind="cannot tell",
        response=response.name,
        variables=(),
        size=None,
        low=None,
        high=None,
        unit=response.unit,
        direction="none",
        matters="unsure",
        facts={"why": problem.what, "try_this": problem.try_this},
        rank=1,
    )
    return ResponseResult(
        response=response,
        n_bakes=0 if bakes is None else bakes.n_bakes,
        n_readings=0 if bakes is None else bakes.n_readings,
        family=FamilyResult(
            model=ModelNote(kind="none", terms=()), reasons={"model": problem.what, "try_this": problem.try_this}
        ),
        findings=(finding,),
        next_bakes=(),
        checks=() if bakes is None else bakes.notes,
    )


def _all_failed(failures: Sequence[NotPossible], question: Question) -> NotPossible:
    if len(failures) == 1:
        return failures[0]
    reasons = dict.fromkeys(failure.what for failure in failures)
    names = ", ".join(response.name for response in question.responses)
    return NotPossible(
        f"Not one response ({names}) can be analysed. {' '.join(reasons)}",
        where=failures[0].where,
        try_this=failures[0].try_this,
    )


def _rows(tables: Mapping[str, pd.DataFrame], answered: Sequence[_Answered]) -> tuple[int, int]:
    """(rows read, rows used). A table shared by several responses counts once; a row of it is
    used when at least one of them used it."""
    never_used: dict[int, set[int | str]] = {}
    length: dict[int, int] = {}
    for one in answered:
        table = tables[one.result.response.name]
        unused = {out.row for out in one.table.left_out} if one.table else set(row_names(table))
        never_used[id(table)] = never_used.get(id(table), unused) & unused
        length[id(table)] = len(table)
    read = sum(length.values())
    return read, read - sum(len(rows) for rows in never_used.values())
